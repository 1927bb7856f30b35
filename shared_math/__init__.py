"""What the device and the PC must agree on: ring file, conversions, mixture, speed, faults. Pure Python for both."""
