"""Blocks as sessions of rows: setup, holes, unpacked columns."""
