"""The PC's work for the logger: preparing its card, and making and checking its configuration."""
