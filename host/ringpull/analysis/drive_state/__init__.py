"""What the engine was doing, row by row: roles of channels, load, target."""
