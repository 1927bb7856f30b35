"""Shared by device and PC: ring file, conversions, mixture, speed, faults. Pure Python for both runtimes."""

VERSION = "0.1.0"  # of both the firmware and the PC program, which are released together
