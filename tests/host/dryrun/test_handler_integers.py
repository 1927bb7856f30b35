"""No integer of the handlers and the row path passes 31 bits: a larger one is an object on the heap of a small board.

The modules of firmware/acquire are loaded with every operation of theirs checked, and driven across the wraps of ticks
and counters. The 64-bit port of MicroPython can't see this: its small integers have 63 bits.
"""

import ast
import random
import sys
import types

import pytest

from ringpull.files.firmware_sources import firmware_dir
from shared_math import ticks

NAMES = ("button", "tach", "pulse", "marks", "health", "rows", "held")
LEAST, MOST = -(1 << 30), (1 << 30) - 1


def checked(value, where):
    """The value, if a small board can hold it without its heap."""
    if type(value) is int and not LEAST <= value <= MOST:
        raise OverflowError(f"{where}: {value}")
    return value


class Checks(ast.NodeTransformer):
    """a + b becomes checked(a + b, "module:line")."""

    def __init__(self, name):
        self.name = name

    def wrapped(self, node, at):
        where = ast.Constant(f"acquire/{self.name}.py:{at.lineno}")
        return ast.Call(ast.Name("checked__", ast.Load()), [node, where], [])

    def visit_BinOp(self, node):
        self.generic_visit(node)
        return self.wrapped(node, node)

    def visit_UnaryOp(self, node):
        self.generic_visit(node)
        return node if isinstance(node.op, ast.Not) else self.wrapped(node, node)

    def visit_AugAssign(self, node):
        self.generic_visit(node)
        target = ast.unparse(node.target)
        plain = ast.BinOp(ast.parse(target, mode="eval").body, node.op, node.value)
        return ast.Assign([node.target], self.wrapped(plain, node))


@pytest.fixture(scope="module")
def acquire():
    """The folder's modules by name, checked."""
    before = {name: module for name, module in sys.modules.items() if name.split(".")[0] == "acquire"}
    package = types.ModuleType("acquire")
    package.__path__ = []
    sys.modules["acquire"] = package
    for name in NAMES:
        tree = Checks(name).visit(ast.parse((firmware_dir() / "acquire" / f"{name}.py").read_text()))
        module = types.ModuleType(f"acquire.{name}")
        module.__dict__["checked__"] = checked
        sys.modules[f"acquire.{name}"] = module
        exec(compile(ast.fix_missing_locations(tree), f"acquire/{name}.py", "exec"), module.__dict__)
        setattr(package, name, module)
    yield package
    for name in [name for name in sys.modules if name.split(".")[0] == "acquire"]:
        del sys.modules[name]
    sys.modules.update(before)


class Lamp:
    state = 1


class Bench:
    """A sampler with everything a row can have, set just before every wrap but that of the row numbers, which comes
    after 12 days of 1000 rows a second."""

    def __init__(self, acquire, seed, period_us, start):
        self.random = random.Random(seed)
        self.now = start
        self.period_us = period_us
        self.button = acquire.button.Button()
        self.marks = acquire.marks.Marks(self.button, max(1, 1000000 // period_us), (1, 0, 1999), 2)
        self.marks.id = 0x7FF0
        self.tach = acquire.tach.Tach(self.random.choice([50, 500]))
        self.tach.count, self.tach.rejected = 0xFFFF00, 0xFFF0
        self.pulse = acquire.pulse.Pulse(200)
        self.pulse.count, self.pulse.rejected = 0xFFFF00, 0xFFF0
        self.health = acquire.health.Health((1, 1000, 1100))
        self.health.dips = 250
        parts = [(0, 0, lambda: self.random.choice([0, 4095, 65535])), (1, 1, self.tach), (4, 1, self.pulse)]
        self.queue = acquire.rows.RowQueue(8 + 3 + 4, 32)
        self.sampler = acquire.rows.Sampler(
            self.queue, period_us, parts, self.marks, Lamp(), lambda: self.now, self.health
        )
        self.sampler.start(self.random.choice([None, start]))

    def pass_time(self, us):
        self.now = (self.now + us) & ticks.MASK

    def turn(self):
        """Something happens."""
        draw = self.random
        what = draw.randrange(8)
        if what < 3:
            self.pass_time(draw.choice([1, 30, 700, self.period_us]))
            self.tach.edge(self.now)
        elif what == 3:
            self.pass_time(draw.choice([1, 100, 300, 5000]))
            self.pulse.change(not self.pulse.on, self.now)
        elif what == 4:
            self.pass_time(draw.choice([1000, 30000, 200000]))
            self.button.change(not self.button.pressed, self.now)
        elif what == 5:
            self.button.look()
            self.health.worked(draw.choice([0, 900, 16000, 600000, ticks.MASK]))
        else:
            self.pass_time(draw.choice([self.period_us, self.period_us - 40, 3 * self.period_us, 12 * self.period_us]))
            self.sampler.take(None)
        if draw.random() < 0.4:
            self.queue.tail = self.queue.head


def periods_and_starts():
    """Every start at the highest rate, and every rate at the start after which the counter goes round at once."""
    for period_us in (1000, 5000, 1000000):
        for start in (0, ticks.MASK - 5, (1 << 29) - 3, ticks.MASK - 40000000):
            often = period_us == 1000 or start == ticks.MASK - 5
            yield pytest.param(period_us, start, marks=() if often else pytest.mark.slow)


@pytest.mark.parametrize(("period_us", "start"), list(periods_and_starts()))
def test_every_integer_stays_small(acquire, period_us, start):
    rows = 0
    for seed in range(6):
        bench = Bench(acquire, seed, period_us, start)
        for _ in range(1500):
            bench.turn()
        rows += bench.sampler.row
        assert all(LEAST <= cell <= MOST for cell in bench.queue.cells)
        assert bench.tach.count < 0xFFFF00  # it went round
    assert rows > 3000


def test_a_slow_converters_held_value(acquire):
    clock = [ticks.MASK - 5000]
    held = acquire.held.Held(1 << 15, lambda: clock[0])
    for n in range(4000):
        held.put(n * 16 & 0xFFFF, clock[0])
        clock[0] = (clock[0] + 300007) & ticks.MASK
        assert 0 <= held.read() <= 0xFFFF and 0 <= held.age() < 1 << 12


def test_the_check_sees_a_large_one(acquire):
    with pytest.raises(OverflowError, match="acquire/tach.py"):
        counter = acquire.tach.Tach(100)
        counter.edge(10)
        counter.edge(-(1 << 30))
