"""Names shortened for boards: the modules mean what they meant, and bring fewer names."""

import ast
import builtins
import shutil
import subprocess
import symtable
from pathlib import Path

import pytest

from ringpull.device import firmware_build
from ringpull.device.short_names import IN_FLASH, Names
from ringpull.dryrun.run import find_micropython

GROWTH = "allocates_nothing_but"  # MicroPython's table of names may grow just then: what it counts is by chance
TESTS = Path(__file__).parents[2]
ONE = """
import struct
from machine import Pin
_MOST = const(4)
_held = []
def _mean(total, of=1, *, scale=2):
    return total // of * scale
class Part:
    _kind = 3
    def read(self, total, pin):
        _held.append(_mean(total, of=pin, scale=2))
        return [total for total in _held]
@asm
def program():
    wait(pin, 0)
"""
OTHER = "import one\none.shared(1)\nrun = one.Part().read\n"


def unbound(text):
    """Names that a module takes from nowhere: builtins, and words of a PIO program."""
    out = set()
    tables = [symtable.symtable(text, "", "exec")]
    bound = {symbol.get_name() for symbol in tables[0].get_symbols() if symbol.is_assigned() or symbol.is_imported()}
    while tables:
        table = tables.pop()
        out |= {symbol.get_name() for symbol in table.get_symbols() if symbol.is_global()} - bound
        tables += table.get_children()
    return out


def names(text):
    nodes = list(ast.walk(ast.parse(text)))
    return {n.id for n in nodes if isinstance(n, ast.Name)} | {n.arg for n in nodes if isinstance(n, ast.arg)}


def test_what_nobody_else_asks_for_is_renamed():
    short = Names([ONE, OTHER]).shortened(ONE)
    assert not {"total", "_held", "_mean"} & names(short)
    assert {"of", "scale"} <= names(short)  # passed by name
    assert {"pin", "_MOST"} <= names(short)  # a word of a PIO program; put in place by the compiler
    assert "class Part" in short and "def read" in short
    given = {"asm": lambda one: one, "const": int, "one": 1, "struct": 1, "wait": 1}
    text = short.replace("from machine import Pin\n", "")
    exec(text, given)
    part = given["Part"]()
    assert part.read(12, 3) == [8] and part.read(2, 1) == [8, 4]


def test_a_name_that_another_module_asks_for_stays():
    short = Names([ONE, "from one import _held\n", "import one\none._mean(1)\n"]).shortened(ONE)
    assert {"_held", "_mean"} <= names(short)


ALONE = """
class Alone:
    _kind = 3
    def __init__(self):
        self._room = []
        self.filled = self.shared = self.named = 0
    def _add(self, one):
        self._room.append(one)
        self.filled += self._kind
    def ioctl(self, one):
        self._add(one)
        return self.filled
class Base:
    def _hook(self):
        return self._kept
    _kept = 1
class Derived(Base):
    def _hook(self):
        return 2
"""


def test_what_objects_keep_to_themselves_is_renamed_and_what_others_or_micropython_ask_for_stays():
    short = Names([ALONE, "def f(one):\n    return one.shared, 'named'\n"]).shortened(ALONE)
    asked = {node.attr for node in ast.walk(ast.parse(short)) if isinstance(node, ast.Attribute)}
    assert not {"_room", "_add", "filled"} & asked and "_kind" not in short and "_add" not in short
    assert {"shared", "named", "_kept", "append"} <= asked and "def ioctl" in short and short.count("def _hook") == 2
    given = {}
    exec(short, given)
    alone = given["Alone"]()
    assert (alone.ioctl(5), alone.ioctl(6), alone.shared) == (3, 6, 0)
    assert (given["Base"]()._hook(), given["Derived"]()._hook()) == (1, 2)


@pytest.fixture(scope="module")
def firmware():
    """(path on the board, source, shortened source) of every module."""
    held = {name: path.read_text() for name, path in firmware_build.sources().items()}
    known = Names(held.values())
    return [(name, text, known.shortened(text)) for name, text in held.items()]


@pytest.mark.slow
def test_no_module_of_the_firmware_takes_another_name_from_outside(firmware):
    for name, text, short in firmware:
        assert unbound(short) == unbound(text), name
        assert len(list(ast.walk(ast.parse(short)))) == len(list(ast.walk(ast.parse(text)))), name


@pytest.mark.slow
def test_no_argument_hides_a_builtin_that_its_module_uses(firmware):
    for name, text, short in firmware:
        taken = {node.arg for node in ast.walk(ast.parse(short)) if isinstance(node, ast.arg)} - names(text)
        assert taken <= set(IN_FLASH) and not taken & unbound(text), name
        assert all(hasattr(builtins, one) or one.isidentifier() for one in taken)


@pytest.mark.slow
def test_the_firmware_brings_a_sixth_fewer_names(firmware):
    def brought(texts):
        return {name for text in texts for name in names(text)} - set(IN_FLASH)

    assert len(brought(short for _, _, short in firmware)) < 0.83 * len(brought(text for _, text, _ in firmware))


@pytest.mark.slow
def test_the_shortened_firmware_passes_the_firmwares_tests(firmware, tmp_path):
    """Of what a test itself asks for the names are kept."""
    tests_of = {file: file.read_text() for file in sorted((TESTS / "firmware").glob("*.py"))}
    known = Names([*(text for _, text, _ in firmware), *tests_of.values()])
    for name, text, _ in firmware:
        place = tmp_path / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(known.shortened(text))
    for extra in (firmware_build.firmware_dir() / "boards").glob("desk*.py"):
        shutil.copy(extra, tmp_path / "boards" / extra.name)
    start = [find_micropython(), "-X", "heapsize=512k", str(TESTS / "firmware" / "run_one.py")]
    path = f"{tmp_path}:{TESTS / 'firmware'}:{TESTS.parent}:.frozen"
    for file, text in tests_of.items():
        if not file.name.startswith("test_") or "micropython" in file.name:
            continue
        for line in text.splitlines():
            if line.startswith("def test_") and GROWTH not in line:
                command = [*start, file.stem, line[4:].split("(")[0]]
                own = tmp_path / "runs" / file.stem / command[-1]  # as in tests/firmware: a folder for each
                own.mkdir(parents=True)
                done = subprocess.run(command, env={"MICROPYPATH": path}, capture_output=True, text=True, cwd=own)
                assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"
