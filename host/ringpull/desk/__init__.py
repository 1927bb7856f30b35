"""The desk: an invented drive, and the firmware run on signal files instead of in a car."""
