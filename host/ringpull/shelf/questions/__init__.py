"""Questions to a shelf: Ibis expressions reduce its tables to sums, the project's own statistics judge these."""
