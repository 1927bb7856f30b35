"""Tells at the end of the run how many cuts were made."""

import pytest

COUNTS = pytest.StashKey[list]()


def pytest_configure(config):
    config.stash[COUNTS] = []


@pytest.fixture
def tell_counts(request):
    """A function that takes the counts of one medium for the closing lines."""
    return request.config.stash[COUNTS].append


def pytest_terminal_summary(terminalreporter):
    counts = terminalreporter.config.stash.get(COUNTS, [])
    for got in counts:
        terminalreporter.write_line(
            "power cuts on {medium}: {writes} writes, {cuts} cuts, {torn} torn, {second} second cuts, "
            "{bytes} at every byte".format(**got)
        )
    if counts:
        made = sum(got["cuts"] + got["torn"] + got["second"] + got["bytes"] for got in counts)
        terminalreporter.write_line(f"power cuts in all: {made}")
