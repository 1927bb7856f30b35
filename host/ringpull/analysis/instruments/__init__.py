"""Whether the instruments that an answer rests on tell the truth: evidence for and against each, from the drive itself.

Columns in, records out; the sentences are made where they are shown.
"""
