"""The local page for drives of any length: samples are asked for a window at a time."""
