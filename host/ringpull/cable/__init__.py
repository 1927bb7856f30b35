"""The logger on the cable: its port, the link over it, the values of now, and blocks fetched while it records."""
