"""From the sensor back to the cylinder: transport delay and sensor lag are determined and removed."""
