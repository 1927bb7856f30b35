"""The compiled row path takes the same rows as the plain one and allocates nothing. Runs under MicroPython."""

import micropython

from acquire import button, health, marks, rows, tach
from acquire.viper_rows import ViperSampler
from panel import lamp
from shared_math import ticks

PERIOD = 5000
START = ticks.MASK - 200 * PERIOD


class Bench:
    """A sampler of the kind given, with two readings, a tach, a button and a throttle, all driven from outside."""

    def __init__(self, kind, supply, grid):
        self.now = START
        self.level = 0
        self.tach = tach.Tach(900)
        self.button = button.Button()
        self.marks = marks.Marks(self.button, 200, (1, 0, 499), 2)
        self.lamp = lamp.Lamp(None)
        self.health = health.Health(supply)
        self.health.heap_kb = 50
        parts = [(0, 0, self.read), (4, 0, self.read), (1, 1, self.tach)]
        queue = rows.RowQueue(9 + self.health.columns, 16)
        self.sampler = kind(queue, PERIOD, parts, self.marks, self.lamp, self.ticks_us, self.health)
        self.sampler.start(grid)

    def read(self):
        return self.level

    def ticks_us(self):
        return self.now

    def rows(self):
        queue = self.sampler.queue
        out = []
        while queue.waiting():
            at = queue.at_tail()
            out.append([queue.cells[at + c] for c in range(queue.stride)])
            queue.tail = (queue.tail + 1) & ticks.MASK
        return out


class Random:
    def __init__(self, seed):
        self.state = seed

    def below(self, most):
        self.state = (self.state * 1103515245 + 12345) & 0x3FFFFFFF
        return (self.state >> 8) % most


def story(kind, seed, supply, grid):
    """Everything that may happen to a sampler, in an order that the seed decides; what came of it."""
    bench = Bench(kind, supply, grid)
    random = Random(seed)
    told = []
    at = START
    pressed = False
    for _ in range(400):
        at = (at + PERIOD) & ticks.MASK
        for _ in range(random.below(4)):
            bench.tach.edge((at - random.below(9000)) & ticks.MASK)
        what = random.below(40)
        if what == 0:
            pressed = not pressed
            bench.button.change(pressed, (at - 40) & ticks.MASK)
        elif what == 1:
            bench.health.worked(40000 + random.below(900000))
        elif what == 2:
            at = (at + PERIOD * random.below(20)) & ticks.MASK
        bench.lamp.state = random.below(5)
        bench.level = random.below(4096) if seed % 2 else random.below(600)
        late = (0, 20, 4000, -300, -2600)[random.below(5)]
        bench.now = (at + late) & ticks.MASK
        bench.sampler.take(None)
        if random.below(12) == 0:
            bench.sampler.look()
            told.append((bench.sampler.lost, bench.sampler.row, bench.sampler.late_max_us))
            told.append(bench.rows())
    bench.sampler.stop()
    bench.sampler.take(None)
    return told + [bench.rows(), bench.sampler.lost, bench.sampler.row, bench.marks.mark, bench.health.dips]


def test_same_rows():
    for seed in range(10):
        for supply in (None, (5, 900, 1000)):
            for grid in (START, None):
                plain = story(rows.Sampler, seed, supply, grid)
                assert plain == story(ViperSampler, seed, supply, grid), (seed, supply, grid)
                assert plain[-4] > 10 and plain[-3] > 300  # rows were lost, and taken


def test_this_port_takes_the_compiled_one():
    bench = Bench(rows.sampler, None, START)
    assert isinstance(bench.sampler, ViperSampler)


def test_the_compiled_path_allocates_nothing():
    for supply in (None, (5, 900, 1000)):
        bench = Bench(ViperSampler, supply, 0)
        bench.now = 0
        bench.sampler.take(None)
        micropython.heap_lock()
        try:
            for n in range(1, 15):
                bench.now = PERIOD * n
                bench.tach.edge(bench.now - 700)
                bench.sampler.take(None)
        finally:
            micropython.heap_unlock()
        assert len(bench.rows()) == 15


def overloaded(kind, share_pct):
    """Rows that cost so many per cent of their period, called as a timer does: (rows taken, rows lost, longest time
    without a gap for the main loop, all in periods)."""
    bench = Bench(kind, None, START)
    sampler = bench.sampler
    cost = PERIOD * share_pct // 100
    due = busy = longest = taken = 0
    now = 0
    for _ in range(600):
        if due > now:  # the main loop runs
            longest = max(longest, busy)
            busy = 0
            now = due
        bench.now = (START + now) & ticks.MASK
        head = sampler.queue.head
        sampler.take(None)
        whole = sampler.queue.head != head
        now += cost if whole else PERIOD // 20
        busy += cost if whole else 0
        taken += whole
        sampler.queue.tail = sampler.queue.head
        due = (due // PERIOD + 1) * PERIOD
        while due + PERIOD <= now:
            due += PERIOD
    sampler.look()
    return taken, sampler.lost, longest // PERIOD


def test_rows_that_take_all_the_time_leave_some_to_the_main_loop():
    """Whatever a row costs, beyond its period: the loop gets its turn again and again, and every row left out is
    counted."""
    for share_pct in (105, 130, 200):
        plain = overloaded(rows.Sampler, share_pct)
        assert plain == overloaded(ViperSampler, share_pct)
        taken, lost, longest = plain
        assert taken > 200 and lost > 100 and longest < 90, (share_pct, plain)
    assert overloaded(rows.Sampler, 90)[1] == 0
