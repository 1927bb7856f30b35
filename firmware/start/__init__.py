"""Power-on: the configuration read and checked, and what all sessions need worked out once."""
