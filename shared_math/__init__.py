"""What the device and the PC must agree on: ring file, conversions, mixture, speed, faults. Pure Python for both."""

VERSION = "0.1.0"  # of firmware and PC program, which are released together
