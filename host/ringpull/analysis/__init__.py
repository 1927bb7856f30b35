"""From columns in engineering units to an answer: delay and lag removed, masks, targets, lean events, verdict.

Everything here works on `columns.Columns`; only `columns.from_session` knows sessions.
"""
