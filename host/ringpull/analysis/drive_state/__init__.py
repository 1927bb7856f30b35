"""The state of the engine, row by row: roles of channels, load, target."""
