"""Rows as values: volts, engine speed, marks, and stretches of them."""
