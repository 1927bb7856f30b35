"""One module per command: HELP, EXAMPLE, add_arguments(parser), run(args) -> exit code."""
