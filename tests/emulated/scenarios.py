"""The recordings that are measured on the emulated RP2040, and the figures of each."""

from __future__ import annotations

import re
from pathlib import Path

import bus_figures
import bus_rig
import numpy as np
import pandas as pd
import runs

from shared_math import layout

# Pins of a board of which nothing is known; six inputs on the four that this chip has
WIRING = """
PINS = {
    "analog": {"a0": 26, "a1": 27, "a2": 28, "a3": 29, "a4": 26, "a5": 27},
    "reference_v": 3.3,
    "pulse": {"p0": 15},
    "digital": {"d0": 14},
    "button": 13,
    "lamp": 12,
    "spi": {"id": 0, "sck": 18, "mosi": 19, "miso": 16, "cs": 17},
}


def for_port(_platform):
    return PINS
"""
NO_CARD = """
PINS = {
    "analog": {"a0": 26, "a1": 27, "a2": 28, "a3": 29},
    "reference_v": 3.3,
    "supply_pwm": 23,
    "pulse": {"p0": 15},
    "digital": {"d0": 14},
    "button": 13,
    "lamp": 12,
    "spi": None,
}


def for_port(_platform):
    return PINS
"""
GENERIC = {"boards/__init__": "from boards.generic import GenericBoard\n\n\ndef pick():\n    return GenericBoard()\n"}

# The firmware's own main.py, with what poll() allocates counted turn by turn
COUNTING = """import gc

gc.threshold(4096)

import boards

board = boards.pick()
from start import plan_build

plan = plan_build.make(board)
del plan_build

from panel.panel import Panel

panel = Panel(board, plan)

import memory

memory.hold(len(plan.table), plan.config["rate_hz"])

from logger import Logger

gc.collect()


class Counting(Logger):
    def record(self):
        recorder = self.recorder
        poll = recorder.poll
        recorder_pack = recorder.pack
        recorder.pack = lambda: None
        most = [0, 0, 0, 0]

        def counted(ready):
            if self.marks.open or recorder.copier.active:
                recorder_pack()
                return poll(ready)  # blocks are being copied too
            box = recorder.writer.outbox
            held = box.held
            packed = recorder.span[0]  # first row of the open block; the shortened firmware keeps few names
            sequence = recorder.writer.sequence
            if gc.mem_free() < 30000:
                gc.collect()
            before = gc.mem_alloc()
            recorder_pack()
            poll(ready)
            grown = gc.mem_alloc() - before
            if recorder.writer.sequence != sequence:
                which = 3 if box.held >= held else 2  # a part of the setup, or blocks of rows
                most[which] = max(most[which], grown // (recorder.writer.sequence - sequence))
            elif recorder.span[0] != packed:
                most[1] = max(most[1], grown)
            else:
                most[0] = max(most[0], grown)

        recorder.poll = counted
        gc.disable()
        try:
            Logger.record(self)
        finally:
            print("COUNTED", *most)


logger = Counting(board, plan, panel)
logger.start()
logger.run()
"""


def _channels(inputs: list[str], pulses: bool) -> list[dict]:
    out: list[dict] = [
        {"name": "lambda_1", "input": inputs[0], "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]}
    ]
    for name in inputs[1:]:
        out.append(
            {
                "name": "at_" + name,
                "input": name,
                "kind": "linear",
                "unit": "kPa",
                "volts": [0.5, 4.5],
                "values": [0, 100],
            }
        )
    if pulses:
        out.append({"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 30000})
    return out


def _config(board: str, rate_hz: int, inputs: list[str], pulses: bool = True, **more) -> dict:
    return {
        "version": 1,
        "board": board,
        "rate_hz": rate_hz,
        "engine": {"cylinders": 4, "strokes": 4, "displacement_cc": 1600},
        "fuel": {"name": "petrol"},
        "channels": _channels(inputs, pulses),
        **more,
    }


def _generic(stall_every_s: float, **more) -> runs.Setup:
    config = _config("generic", 200, [f"a{n}" for n in range(6)])
    return runs.Setup(config, 400, 2.6, stall_every_s, modules={**GENERIC, "boards/pin_table": WIRING}, **more)


def _twelve(**more) -> runs.Setup:
    inputs = [f"a{n}" for n in range(4)] + [f"x{n}" for n in range(8)]
    return runs.Setup(_config("rp2", 200, inputs, converters={"x": "mcp3208"}), 800, **more)


def _on_flash() -> runs.Setup:
    config = _config("rp2", 200, [f"a{n}" for n in range(4)])
    return runs.Setup(config, 400, 6.0, modules={"boards/pin_table": NO_CARD}, on_flash=True)


def _warned(card: tuple[tuple[float, str], ...], seconds: float = 6.0, **more) -> runs.Setup:
    """A car under load, a pull marked; the mixture is lean from 2.0 to 3.2 s."""
    target = {"load": "at_a1", "load_kpa": [40, 100, 200], "lambda": [1.0, 0.88, 0.79]}
    config = _config("rp2", 200, [f"a{n}" for n in range(4)], target=target, lean_warning={"buzzer": True})
    config["channels"][0]["states"] = [{"name": "warm-up", "volts": [-0.4, -0.3]}]
    config["channels"][1]["values"] = [20, 300]
    return runs.Setup(config, 200, seconds, pull_s=4.5, card=card, lean_s=(2.0, 3.2), **more)


def _bus(single: bool) -> runs.Setup:
    config = _config("rp2", 200, [f"a{n}" for n in range(4)] + ["x0", "x1"], converters={"x": "mcp3208"})
    asked = [(bus_figures.name_of(pid), f"{pid:02X}") for pid in bus_rig.SIXTEEN]
    config["channels"] += [{"name": name, "kind": "obd", "pid": pid, "hz": 20} for name, pid in asked]
    config["bus"] = {"ask": True, "kbit": bus_rig.KBIT}
    return runs.Setup(config, 200, 4.0, stall_every_s=1.0, bus=bus_rig.Story(single))


SCENARIOS = {
    "generic": lambda: _generic(0),
    "generic, stalls": lambda: _generic(1.0),
    "twelve, stalls": lambda: _twelve(seconds=2.5, stall_every_s=1.0),
    "twelve, marked": lambda: _twelve(seconds=5.6, stall_every_s=1.0, pull_s=2.0),
    "four at 1 kHz": lambda: runs.Setup(_config("rp2", 1000, [f"a{n}" for n in range(4)], pulses=False), 0, 1.5),
    "bus, six a request": lambda: _bus(False),
    "bus, singly": lambda: _bus(True),
    "on its own flash": _on_flash,
    "card sound": lambda: _warned(()),
    "card out": lambda: _warned(((1.0, "out"), (4.0, "in"))),
    "card swapped": lambda: _warned(((1.0, "out"), (2.5, "swap")), 7.0),
    "card refuses": lambda: _warned(((1.0, "refuse"), (4.0, "in")), 7.0),
    "card never ready": lambda: _warned(((1.0, "stick"), (5.5, "in")), 8.0),  # for 3 s it may just be slow
    "card stalls 2 s": lambda: _warned((), stall_every_s=100.0, stall_s=2.0),
    "no card": lambda: _warned((), 3.0, no_card=True),
    "generic, counted": lambda: _generic(0, files={"main.py": COUNTING.encode()}),
}
SAID = {
    "generic": "soft timer and interrupts, 6 analog inputs at 200 Hz, tach 400 Hz, card busy 1 ms",
    "generic, stalls": "the same with one card stall of 500 ms in every second",
    "twelve, stalls": "hard timer, 4 inputs on chip and 8 on SPI at 200 Hz, tach 800 Hz, "
    "one stall of 500 ms in every second",
    "twelve, marked": "the same while a pull of 2 s is marked and copied, with what goes before it and 3 s after it",
    "four at 1 kHz": "hard timer, 4 inputs on chip at 1000 Hz through DMA, averaged by 4, card busy 1 ms",
    "bus, six a request": "hard timer, 4 inputs on chip and 2 on SPI at 200 Hz, tach 200 Hz, an MCP2518FD on the same "
    "SPI and a car that answers in 20 ms: 16 channels asked for at 20 Hz; one stall of 500 ms in every second",
    "bus, singly": "the same with a car that answers one parameter a request",
    "on its own flash": "no card: hard timer, 4 inputs on chip at 200 Hz, tach 400 Hz; "
    "45 ms for an erase, 0.4 ms for a page",
    "card sound": "4 inputs at 200 Hz, under load, a pull of 4.5 s marked, lean from 2.0 to 3.2 s",
    "card out": "the same with the card out from 1 s to 4 s",
    "card swapped": "the same with the card out at 1 s and another prepared one in at 2.5 s",
    "card refuses": "the same with every write refused from 1 s to 4 s",
    "card never ready": "the same with the card's line held low from 1 s to 5.5 s",
    "card stalls 2 s": "the same with one stall of 2 s",
    "no card": "no card in from power-on",
    "generic, counted": "as generic, with gc.mem_alloc() around every turn of the main loop",
}


TRIAL = 60  # requests for values after which it is settled what is asked together


def figures(uf2: Path, name: str) -> dict:
    """Run a scenario; what came of it. Times in microseconds where the name says so, shares from 0 to 1."""
    with runs.temporary() as folder:
        run = runs.Run(uf2, SCENARIOS[name](), Path(folder))
        if run.setup.no_card:
            return _flickers(run)
        run.boot()
        if run.bus:
            run.until_asked(TRIAL)
        run.record()
        run.finish()
        if "counted" in name:
            found = re.search(rb"COUNTED (\d+) (\d+) (\d+) (\d+)", bytes(run.chip.said))
            if not found:
                raise RuntimeError(run.chip.said.decode(errors="replace"))
            names = ("bytes_per_row", "bytes_per_block_packed", "bytes_per_block_written", "bytes_per_setup_part")
            return {key: int(found[n]) for n, key in enumerate(names, 1)}
        sessions = run.sessions()
        session = sessions[-1]
        raw = pd.concat([one.raw() for one in sessions], ignore_index=True)  # the row numbers of one start run on
        period_us = 1e6 / run.setup.config["rate_hz"]
        late = raw["late"].to_numpy()
        health = session.timing.health
        out = {
            "rows": len(raw),
            "lost_rows": sum(one.lost_rows for one in sessions),
            "rows_missing": int(raw["row"].iloc[-1]) + 1 - len(raw),
            "cpu": run.cpu,
            "card_writes": run.writes,
            "card_stalls": len(run.card.stalled),
            "late_us_median": float(np.median(late)),
            "late_us_max": float(late.max()),
            "late_spread_us": float(late.max() - late.min()),
            "heap_free_bytes": health["heap"],
        }
        if run.setup.on_flash:
            del out["card_writes"], out["card_stalls"]
            out["flash_erases"] = run.erased
        if run.bus:
            out.update(bus_figures.of_run(run, raw))
        if run.converter.taken:
            instants = [now_s for now_s, channel, _ in run.converter.taken if channel == 0]
            out["jitter_us"] = float(runs.jitter_us(instants, period_us * 1e-6)[0])
        if run.setup.tach_hz:
            out.update(runs.edges_kept(raw, period_us, run.setup.tach_hz))
        if run.setup.lean_s:
            out.update(_warning(run, raw))
        elif run.setup.pull_s:
            out.update(_pull_kept(run, session))
        return out


def _flickers(run: runs.Run) -> dict[str, float]:
    """Without a card: how even the lamp flickers, from the second second after power-on."""
    run.chip.run(run.setup.seconds)
    edges = np.array([now_s for now_s, _ in run.lamp if now_s > 1.0])
    steps = np.diff(edges)
    return {
        "first_light_s": run.lamp[0][0],
        "lamp_edges": len(edges),
        "lamp_step_s_least": float(steps.min()),
        "lamp_step_s_most": float(steps.max()),
    }


def _warning(run: runs.Run, raw) -> dict:
    """When the warning came, how even the lamp was, which faults it told."""
    onset_s = run.began_s + run.setup.lean_s[0]
    sounded = [now_s for now_s, on in run.buzzer if on and now_s > onset_s]
    edges, off = runs.lamp_off(run.lamp, run.began_s)
    lamp = raw["lamp"].to_numpy()
    told = sorted({int(state) - layout.LAMP_FAULT for state in lamp if state >= layout.LAMP_FAULT})
    return {
        "warning_delay_s": sounded[0] - onset_s if sounded else float("nan"),
        "lamp_edges": edges,
        "lamp_edges_off_place": off,
        "lamp_changes": int(np.count_nonzero(np.diff(lamp))),
        "faults_told": ", ".join(map(str, told)) or "none",
        "refused_writes": run.card.refused,
    }


def _pull_kept(run: runs.Run, session) -> dict[str, float]:
    """What pulls.rpl alone holds of the one pull: its rows, those of its span that are missing, those that differ."""
    (mark,) = (one for one in session.marks if not one.void)  # the long press at the end began one, and voided it
    kept = run.pulls_file().sessions[-1].raw().set_index("row")
    whole = session.raw().set_index("row")
    rate_hz = run.setup.config["rate_hz"]
    span = whole.loc[: int((mark.end_s + 3) * rate_hz)]  # power came on less than 5 s before the pull
    shared = span.index.intersection(kept.index)
    return {
        "pull_rows": len(kept),
        "pull_rows_missing": len(span) - len(shared),
        "pull_rows_changed": int((kept.loc[shared] != whole.loc[shared]).any(axis=1).sum()),
    }
