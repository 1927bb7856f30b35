"""Ring files as blocks: found, checked, in the order in which they were written."""
