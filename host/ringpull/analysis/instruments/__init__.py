"""Whether the instruments that an answer relies on can be trusted: evidence for and against each, from the drive.

Columns in, records out; the sentences are made where they are shown.
"""
