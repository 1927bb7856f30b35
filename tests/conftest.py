"""For all tests: this folder is on the path, so that `truth`, `limits` and `second_reader` are found by their plain
names."""

from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

# No deadlines and no check of how long drawing takes: two busy cores would fail them. No store of old examples.
# The default tier draws the same examples in every run; `make test-all` asks for new ones
# (--hypothesis-profile=explore).
COMMON = {"deadline": None, "database": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("same", derandomize=True, **COMMON)
settings.register_profile("explore", print_blob=True, **COMMON)
settings.load_profile("same")


def pytest_sessionstart():
    """Hypothesis also draws constants of the modules that are loaded: which these are goes by what ran before."""
    if settings().derandomize:
        providers._get_local_constants = lambda: providers._local_constants  # empty unless filled by that function
