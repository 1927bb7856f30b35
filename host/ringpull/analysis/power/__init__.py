"""Estimates of power at the wheels, with intervals."""
