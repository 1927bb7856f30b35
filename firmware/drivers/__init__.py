"""Chips beside the processor."""
