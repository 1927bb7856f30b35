"""The command `ringpull`: arguments, printing, exit codes."""
