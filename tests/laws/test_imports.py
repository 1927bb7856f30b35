"""The import law, on the syntax trees; what DEVELOPERS.md calls 'who may import whom'."""

import pytest
from trees import FIRMWARE, HOST, ROOMS, ROOT, SHARED, broken, sources, upward


@pytest.mark.parametrize("folder", [SHARED, FIRMWARE, HOST], ids=lambda folder: folder.name)
def test_law_is_kept(folder):
    files = sources(folder)
    assert files
    told = [line for path in files for line in broken(path.relative_to(ROOT).as_posix(), path.read_text())]
    assert not told, "\n".join(told)


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("shared_math/x.py", "import re"),
        ("shared_math/x.py", "from micropython import const"),
        ("shared_math/x.py", "def f():\n    import numpy"),
        ("firmware/store/x.py", "import machine"),
        ("firmware/store/x.py", "from machine import Pin"),
        ("firmware/boards/x.py", "import ringpull"),
        ("firmware/x.py", "import pathlib"),
        ("host/ringpull/x.py", "from store import writer"),
        ("host/ringpull/x.py", "import firmware.store"),
        ("host/ringpull/x.py", "from ringpull import cli"),
        ("host/ringpull/report/x.py", "from ringpull.cli import main"),
    ],
)
def test_a_breach_is_found(place, text):
    assert broken(place, text)


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("shared_math/compat.py", "from micropython import const"),
        ("firmware/boards/x.py", "import machine"),
        ("firmware/store/x.py", "from shared_math import layout"),
        ("host/ringpull/cli/commands/x.py", "from ringpull.cli import terminal"),
        ("host/ringpull/x.py", "import numpy"),
    ],
)
def test_what_is_allowed_passes(place, text):
    assert not broken(place, text)


def test_nothing_in_the_host_leads_upward():
    files = sources(HOST)
    found = [line for path in files for line in upward(path.relative_to(ROOT).as_posix(), path.read_text())]
    assert not found, "\n".join(found)


def test_every_room_is_there():
    assert [name for name in ROOMS if not (HOST / name).exists() and not (HOST / f"{name}.py").exists()] == []


def test_an_import_that_leads_upward_is_found():
    low = "host/ringpull/ring/rows/x.py"
    assert upward(low, "from ringpull.analysis.judge import masks")
    assert upward("host/ringpull/analysis/delay/x.py", "def f():\n    from ringpull.analysis.judge import masks")
    assert upward("host/ringpull/lost.py", "")
    assert not upward(low, "from ringpull.ring.blocks import scan")
