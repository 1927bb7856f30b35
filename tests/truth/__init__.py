"""Signals and drives whose truth is known exactly, made without any of the project's own code."""
