"""Files beside the recordings: outputs of commands, remarks, configurations, tables."""
