"""Files beside the recordings: what a command writes, remarks, configurations, tables."""
