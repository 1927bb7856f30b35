"""The number of the analysis behind a judgement."""

# Raised whenever a drive's stored figures change: drives judged by different numbers are never mixed unasked
ANALYSIS = 3
