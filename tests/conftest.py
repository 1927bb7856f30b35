"""For all tests: this folder is on the path, so that `truth` and `second_reader` are found by their plain names."""

from hypothesis import settings

# No deadlines: two busy cores would fail them. No store of old examples: a run depends on the code alone.
settings.register_profile("project", deadline=None, database=None)
settings.load_profile("project")
