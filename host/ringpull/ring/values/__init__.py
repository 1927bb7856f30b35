"""From rows to values: volts, engine speed, marks, and windows of a session."""
