"""The local page for drives of any length, which requests its samples one window at a time."""
