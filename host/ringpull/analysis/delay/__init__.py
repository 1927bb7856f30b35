"""From the sensor back to the cylinder: transport delay and lag, found and undone."""
