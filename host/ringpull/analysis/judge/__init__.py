"""Judging a session: masks, lean events, uncertainty, verdict."""
