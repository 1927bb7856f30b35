"""A car on the bench: real rows, marks and panel, fed with values that a story tells; the screen is a frame in memory.

Virtual time; a turn of the main loop after every row, as on the desk board.
"""

import json

from glass import PIECES, Glass

from shared_math import layout, ticks

CONFIG = {
    "version": 1,
    "rate_hz": 200,
    "screen": True,
    "lean_warning": {"buzzer": True},
    "target": {"load": "map", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]},
    "channels": [
        {
            "name": "lambda_1",
            "input": "a0",
            "kind": "lambda",
            "volts": [0.0, 5.0],
            "values": [0.60, 1.40],
            "states": [{"name": "warm-up", "volts": [-0.05, 0.05]}],
        },
        {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000},
        {"name": "map", "input": "a1", "kind": "linear", "unit": "kPa", "volts": [0.5, 4.5], "values": [20, 300]},
    ],
}


class Light:
    """Remembers when which pattern was shown."""

    def __init__(self, board):
        self.board = board

    @property
    def pattern(self):
        return self.board.lamps[-1][1]

    @pattern.setter
    def pattern(self, pattern):
        self.board.lamps.append((self.board.now / 1e6, pattern))


class Board:
    def __init__(self, glass, text):
        self.light = Light(self)
        self.glass = glass
        self.text = text
        self.now = 0
        self.sounds = []
        self.lamps = []

    raw = None

    def read_config(self):
        return self.text

    def configure(self, config):
        pass

    def converter(self, _input):
        return 12, 3.3, 0

    def screen(self):
        return self.glass

    def buzzer(self, on):
        self.sounds.append((self.now / 1e6, on))

    def ticks_us(self):
        return self.now & ticks.MASK


class _Nothing:
    dropped = 0
    dead = False


class _Recorder:
    def __init__(self):
        self.writer = _Nothing()
        self.writer.outbox = _Nothing()


def _plan(board):
    from start import plan_build

    return plan_build.make(board)


class Car:
    """story(t) -> {"lambda_1": value or name of a state, "map": kPa, "rpm": 1/min}; missing values stay.

    changes: to CONFIG. text: of logger.json, in place of all that. glass: whether there is a screen.
    """

    def __init__(self, changes=None, text=None, glass=True):
        settings = dict(CONFIG)
        settings.update(changes or {})
        self.glass = Glass() if glass else None
        self.board = Board(self.glass, json.dumps(settings).encode() if text is None else text)
        self.plan = _plan(self.board)
        # Loaded behind it, as the start does: what the plan takes is given back
        from acquire import button, health, marks, rows, tach
        from panel import panel

        self.settings = self.plan.config
        self.table = self.plan.table
        self.now = {"rpm": 0.0}
        self.edges = 0.0
        rate_hz = self.settings["rate_hz"]
        self.period_us = 1000000 // rate_hz
        self.button = button.Button()
        self.marks = marks.Marks(self.button, rate_hz, self.plan.throttle, 0)
        parts = []
        self.tach = tach.Tach(1000)
        for at in range(len(self.table)):
            if self.table[at]["r"] == "adc":
                parts.append((at, 0, self._reader(self.table[at])))
            elif self.table[at]["r"] == "digital":
                parts.append((at, 0, self._level(self.table[at]["n"])))
            elif self.table[at]["n"] == "engine_speed":
                parts.append((at, 1, self.tach))
        self.health = health.Health()
        queue = rows.RowQueue(len(self.table), 32)
        self.panel = panel.Panel(self.board, self.plan)
        self.lamp = self.panel.lamp
        self.lamp.fault = self.plan.faults[0] if self.plan.faults else 0
        self.lamp.taken = True
        self.sampler = rows.Sampler(
            queue, self.period_us, parts, self.marks, self.lamp, self.board.ticks_us, self.health
        )
        self.recorder = _Recorder()
        self.panel.begin(self)
        self.sampler.start(0)
        self.row = 0

    def _reader(self, column):
        channel = [one for one in self.settings["channels"] if one["name"] == column["n"]][0]
        name = channel["name"]

        def read():
            value = self.now.get(name, 0)
            if isinstance(value, str):
                volts = [sum(one["volts"]) / 2 for one in channel["states"] if one["name"] == value][0]
            else:
                (low, high), (v0, v1) = channel["values"], channel["volts"]
                volts = v0 + (value - low) * (v1 - v0) / (high - low)
            return max(0, min(4095, int((volts - column["o"]) / column["s"] + 0.5)))

        return read

    def _level(self, name):
        return lambda: self.now.get(name, 0)

    def drive(self, seconds, story, presses=()):
        """Go on for so long; story and presses (times of 0.1 s presses) count from the start of this part."""
        began = self.row
        events = sorted([(t, True) for t in presses] + [(t + 0.1, False) for t in presses])
        while self.row < began + int(seconds * 1e6) // self.period_us:
            t = (self.row - began) * self.period_us / 1e6
            self.now.update(story(t))
            per_row = self.now["rpm"] / 60 * 2 * self.period_us / 1e6
            whole = int(self.edges)
            self.edges += per_row
            grid = self.row * self.period_us
            for n in range(whole, int(self.edges)):
                part = (n + 1 - (self.edges - per_row)) / per_row
                self.tach.edge(int(grid - self.period_us + part * self.period_us) & ticks.MASK)
            while events and events[0][0] <= t:
                when, down = events.pop(0)
                self.button.change(down, (grid - int((t - when) * 1e6)) & ticks.MASK)
            self.board.now = grid
            self.sampler.take()
            self.turn()
            self.row += 1

    def turn(self):
        queue = self.sampler.queue
        queue.tail = queue.head
        self.panel.turn()
        if self.panel.screen:
            self.panel.screen.turn()

    def show(self):
        """Turns without rows until what is drawn stands on the glass."""
        for _ in range(3 * PIECES):
            self.board.now += 10000
            self.panel.turn()
            self.panel.screen.turn()
        return self.glass.shown

    def lean_times(self):
        """[from, to] of the lamp's lean state, seconds."""
        from panel import lamp

        out = []
        for t, pattern in self.board.lamps:
            if pattern == lamp.pattern_of(layout.LAMP_LEAN):
                out.append([t, None])
            elif out and out[-1][1] is None:
                out[-1][1] = t
        return out


def cruise(_t):
    return {"rpm": 2500.0, "map": 45.0, "lambda_1": 0.99}


def pull(hole=0.0):
    """Full load from 2500 to 6900 rpm in 5.5 s; between 4700 and 5700 rpm leaner by `hole`."""

    def story(t):
        rpm = 2500.0 + 800.0 * t
        value = 0.80 + 0.01 * (1 - rpm / 7000)
        if 4700 < rpm < 5700:
            value += hole * (1 - abs(rpm - 5200) / 500) * 1.5 if hole else 0
        return {"rpm": rpm, "map": 185.0, "lambda_1": value}

    return story
