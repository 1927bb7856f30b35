"""What the PC does for the logger itself: preparing its card."""
