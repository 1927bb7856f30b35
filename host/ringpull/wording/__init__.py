"""The sentences of the analysis, made from its records for whoever shows them: report, view, command, JSON."""
