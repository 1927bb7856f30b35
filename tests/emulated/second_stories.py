"""What the second rig goes through: every way in which a card fails, and the loads that a board may be given."""

from __future__ import annotations

from collections.abc import Callable

from second_rig import Story

from ringpull.files.firmware_sources import firmware_dir

PULL_S = (5.0, 5.1)  # the press that begins it
LINEAR = {"kind": "linear", "unit": "kPa", "volts": [0.5, 4.5]}
CLOCK = "clock"  # a3 tells the time: see signals.mjs
CHANNELS = [
    {
        "name": "lambda_1",
        "input": "a0",
        "kind": "lambda",
        "volts": [0.0, 5.0],
        "values": [0.6, 1.4],
        "states": [{"name": "warm-up", "volts": [0.0, 0.1]}],
    },
    {"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 30000},
    {**LINEAR, "name": "map", "input": "a1", "values": [20, 300]},
    {**LINEAR, "name": "throttle", "input": "a2", "unit": "%", "values": [0, 100]},
    {**LINEAR, "name": CLOCK, "input": "a3", "values": [0, 100]},
]
MORE = [{**LINEAR, "name": f"sensor_{n}", "input": f"x{n}", "values": [0, 100]} for n in range(8)]

TURNING = """
    import machine
    from logger import Logger as Whole

    _toggle = machine.Pin(6, machine.Pin.OUT, value=0).toggle

    class Logger(Whole):
        def turn(self):
            Whole.turn(self)
            _toggle()

"""


def config(rate_hz: int = 200, twelve: bool = False) -> dict:
    """Four inputs on the chip and a tach, eight more on the converter; the lean warning sounds after 0.3 s."""
    out = {
        "version": 1,
        "board": "rp2",
        "rate_hz": rate_hz,
        "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1600},
        "fuel": {"name": "petrol"},
        "target": {"load": "map", "load_kpa": [40, 100, 150, 200], "lambda": [1.0, 0.9, 0.82, 0.78]},
        "lean_warning": {"margin": 0.05, "after_s": 0.3, "buzzer": True},
        "channels": [*CHANNELS, *(MORE if twelve else [])],
    }
    if twelve:
        out["converters"] = {"x": "mcp3208"}
    return out


def _four(*happens: tuple, pull: bool = True, **more) -> Story:
    return Story(config(), happens=list(happens), presses_s=[PULL_S] if pull else [], **more)


def _twelve(**more) -> Story:
    return Story(config(twelve=True), tach_hz=800.0, **more)


def turning() -> str:
    """The firmware's own main.py, but each turn of the main loop changes a free pin's level."""
    text = (firmware_dir() / "main.py").read_text()
    whole = "    from logger import Logger\n"
    if whole not in text:
        raise ValueError("firmware/main.py imports its Logger in another way")
    return text.replace(whole, TURNING)


def _stall(from_s: float, length_s: float, every_s: float = 0.0) -> dict:
    return {"from": from_s, "every": every_s, "length": length_s}


# Name -> (what it is, the story)
STORIES: dict[str, tuple[str, Callable[[], Story]]] = {
    "sound": ("a card that takes everything", lambda: _four()),
    "out": ("out at 6.5 s, in again at 8.0 s", lambda: _four((6.5, "out"), (8.0, "in"))),
    "dead": ("answers nothing from 6.5 s on", lambda: _four((6.5, "out"))),
    "out 30 s": (
        "out at 6 s, in again at 36 s; no pull; lean from 20 s",
        lambda: _four((6.0, "out"), (36.0, "in"), pull=False, seconds=42.0, lean_s=(20.0, 21.5)),
    ),
    "swapped": (
        "out at 6.5 s, another prepared card in at 8.0 s; the lamp watched for 30 s more",
        lambda: _four((6.5, "out"), (8.0, "in", 1), seconds=40.0),
    ),
    "swapped, bare": (
        "out at 6.5 s, a card without ring files in at 8.0 s",
        lambda: _four((6.5, "out"), (8.0, "in", 1), bare_cards=True),
    ),
    "swapped late": (
        "twelve restless inputs, out at 6 s; rows are dropped when another prepared card comes at 11.5 s; lean from "
        "11.65 s",
        lambda: _twelve(
            presses_s=[PULL_S],
            happens=[(6.0, "out"), (11.5, "in", 1)],
            restless=True,
            lean_s=(11.65, 13.0),
            seconds=17.0,
        ),
    ),
    "turns, out": (
        "as out, and every turn of the main loop seen",
        lambda: _four((6.5, "out"), (8.0, "in"), main=turning()),
    ),
    "turns, swapped": (
        "as swapped, and every turn of the main loop seen",
        lambda: _four((6.5, "out"), (8.0, "in", 1), main=turning()),
    ),
    "turns, swapped, bare": (
        "as swapped, bare, and every turn of the main loop seen",
        lambda: _four((6.5, "out"), (8.0, "in", 1), bare_cards=True, main=turning()),
    ),
    "turns, refuses": (
        "as refuses, and every turn of the main loop seen",
        lambda: _four((6.5, "refuse"), main=turning()),
    ),
    "refuses": ("refuses every write from 6.5 s on", lambda: _four((6.5, "refuse"))),
    "read-only": ("refuses every write from power-on", lambda: _four((0.1, "refuse"), seconds=20.0)),
    "busy": (
        "a stall of 2 s after every third second from 5 s on",
        lambda: _four(stalls=_stall(5.0, 2.0, 3.0), seconds=20.0, finish_s=6.6),
    ),
    "never ready": ("line held low from 6.5 s to 9.5 s", lambda: _four((6.5, "stick"), (9.5, "in"))),
    "stuck": ("line held low from 6.5 s on", lambda: _four((6.5, "stick"))),
    "no card": ("none from power-on", lambda: _four(no_card=True, finish=False, seconds=12.0)),
    "no card, then one": (
        "none from power-on, a prepared one in at 6 s; lean from 12 s",
        lambda: _four((6.0, "in", 1), pull=False, no_card=True, seconds=18.0, lean_s=(12.0, 13.5)),
    ),
    "stall 0.5 s": ("one stall of 0.5 s, from 7.9 s on", lambda: _four(stalls=_stall(7.9, 0.5))),
    "stall 2 s": ("one stall of 2 s, from 7.9 s on", lambda: _four(stalls=_stall(7.9, 2.0))),
    "twelve": (
        "twelve inputs at 200 Hz, tach 800 Hz, a pull from 5 s to 11 s, a stall of 0.5 s in every second",
        lambda: _twelve(presses_s=[PULL_S, (11.0, 11.1)], stalls=_stall(4.5, 0.5, 1.0), seconds=20.0),
    ),
    "twelve, 2 s": (
        "the same with a stall of 2 s in every fourth second",
        lambda: _twelve(presses_s=[PULL_S, (11.0, 11.1)], stalls=_stall(4.5, 2.0, 4.0), seconds=24.0, finish_s=6.6),
    ),
    "twelve at 1 kHz": (
        "twelve inputs at 1 kHz, tach 800 Hz, which `check` refuses",
        lambda: Story(config(1000, twelve=True), tach_hz=800.0, seconds=12.0),
    ),
    "twelve at 1 kHz, 1.3": (
        "the same at 1.3 times the cycles",
        lambda: Story(config(1000, twelve=True), tach_hz=800.0, seconds=12.0, slow=1.3),
    ),
    "twelve at 1 kHz, stalls": (
        "the same with a stall of 0.5 s in every second",
        lambda: Story(config(1000, twelve=True), tach_hz=800.0, seconds=12.0, stalls=_stall(5.5, 0.5, 1.0)),
    ),
    "twelve at 1 kHz, stalls, 1.3": (
        "the same at 1.3 times the cycles",
        lambda: Story(config(1000, twelve=True), tach_hz=800.0, seconds=12.0, slow=1.3, stalls=_stall(6.5, 0.5, 1.0)),
    ),
    "four at 1 kHz": (
        "four inputs at 1 kHz, tach 800 Hz",
        lambda: Story(config(1000), tach_hz=800.0, seconds=12.0),
    ),
    "four at 1 kHz, 1.3": (
        "the same at 1.3 times the cycles",
        lambda: Story(config(1000), tach_hz=800.0, seconds=12.0, slow=1.3),
    ),
}
