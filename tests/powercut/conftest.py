"""Tells at the end of the run how many cuts were made."""

import pytest

COUNTS = pytest.StashKey[list]()


def pytest_configure(config):
    config.stash[COUNTS] = []


@pytest.fixture
def tell_counts(request):
    """A function that takes the counts of one medium for the closing lines."""
    return request.config.stash[COUNTS].append


def pytest_sessionfinish(session):
    """In a worker process: hand the counts to the one that prints."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["power_cuts"] = session.config.stash[COUNTS]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node):
    node.config.stash[COUNTS].extend(getattr(node, "workeroutput", {}).get("power_cuts", []))


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
