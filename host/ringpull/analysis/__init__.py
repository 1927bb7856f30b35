"""From columns of engineering units to an answer: delay and lag undone, masks, targets, lean events, verdict.

Everything below works on `columns.Columns`; only `columns.from_session` knows what a session is.
"""
