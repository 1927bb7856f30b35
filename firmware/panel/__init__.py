"""What the driver sees."""
