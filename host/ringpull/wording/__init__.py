"""The sentences of the analysis, made from its records for report, view, commands and JSON."""
