"""Faults of wiring, scale, sensor, controller, configuration, driver and engine, as functions on a wired drive.

Each changes volts, edges, button or configuration in place, as the fault would. `FAULTS` lists them with what must be
named, and whether the drive holds evidence of it at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from truth.ground_core import GROUND_CORE
from truth.road import lag
from truth.wired import STEP_S, Wired, sensor_of, to_volts

Break = Callable[[Wired, np.random.Generator], None]


@dataclass(frozen=True)
class Fault:
    """kind: "wiring", "scale", "sensor", "controller", "configuration", "driver" or "engine". channels: of which one
    must be named; empty: none. evidence: whether the drive can tell it. banks: of the engine. boosted: only on such."""

    name: str
    kind: str
    apply: Break
    channels: tuple[str, ...] = ()
    evidence: bool = True
    banks: int = 1
    boosted: bool | None = None


def still(wired: Wired, name: str, value: float, start_s: float = 0.0, end_s: float = np.inf) -> None:
    """The channel stands at a value of its own unit."""
    rows = wired.rows(start_s, end_s)
    wired.volts[name][rows] = to_volts(np.array([value]), sensor_of(wired, name))[0]


def volts(wired: Wired, name: str, level: float, start_s: float = 0.0, end_s: float = np.inf) -> None:
    """The channel stands at a voltage."""
    wired.volts[name][wired.rows(start_s, end_s)] = level


def before_hole(wired: Wired, seconds: float) -> float:
    return wired.hole_s[0] - seconds


# Lambda


def frozen(at: float, bank: str = "lambda_1") -> Break:
    return lambda wired, rng: still(wired, bank, at + rng.uniform(-0.01, 0.01))


def frozen_from(bank: str = "lambda_1") -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        rows = wired.rows(before_hole(wired, 0.6 + rng.uniform(0, 0.4)), np.inf)
        wired.volts[bank][rows] = wired.volts[bank][rows.start]

    return apply


def frozen_over_hole(seconds: float) -> Break:
    """The reading stands still for a moment that covers the hole, and goes on afterwards."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        end_s = wired.hole_s[1] + 0.2
        rows = wired.rows(min(end_s - seconds, wired.hole_s[0] - 0.1), end_s)
        wired.volts["lambda_1"][rows] = wired.volts["lambda_1"][rows.start]

    return apply


def at_volts(name: str, level: float) -> Break:
    return lambda wired, rng: volts(wired, name, level)


def no_output_over_hole(name: str, level: float, around_s: float = 0.6) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        start_s, end_s = wired.hole_s
        volts(wired, name, level, start_s - around_s, end_s + around_s + 0.3)

    return apply


def no_output_from(name: str, level: float) -> Break:
    return lambda wired, rng: volts(wired, name, level, before_hole(wired, 0.5))


def shift_values(name: str, by: float) -> Break:
    """The configuration's values are off by a constant."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        channel = wired.channel(name)
        channel["values"] = [round(value + by, 4) for value in channel["values"]]

    return apply


def values_are(name: str, values: list[float]) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.channel(name)["values"] = list(values)

    return apply


def scaled_about(name: str, gain: float, centre: float) -> Break:
    """The configuration's values stretched about one of them."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        channel = wired.channel(name)
        channel["values"] = [round(centre + gain * (value - centre), 4) for value in channel["values"]]

    return apply


def afr_constant(controller: float, configured: float) -> Break:
    """A controller that shows air-fuel ratio by its own constant, configured with another."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        channel = wired.channel("lambda_1")
        channel["values"] = [round(value * controller, 4) for value in channel["values"]]
        channel |= {"scale": "afr", "stoich": configured}

    return apply


def added_volts(name: str, by: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.volts[name] = np.clip(wired.volts[name] + by, 0.0, 5.0)

    return apply


def flicker(name: str, level: float, per_second: float, lasts_s: float) -> Break:
    """A loose plug: short visits to a level, while the engine pulls."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        for start_s, end_s in wired.pulls_s:
            count = max(4, rng.poisson(per_second * (end_s - start_s)))
            for at in rng.uniform(start_s, end_s, count):
                volts(wired, name, level, at, at + lasts_s * rng.uniform(0.5, 1.5))

    return apply


def slow(name: str, tau_s: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.volts[name] = lag(wired.volts[name], tau_s, STEP_S)

    return apply


def late(name: str, by_s: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.volts[name] = np.interp(wired.time_s - by_s, wired.time_s, wired.volts[name])

    return apply


def flat_top(name: str, value: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        most = to_volts(np.array([value]), sensor_of(wired, name))[0]
        wired.volts[name] = np.minimum(wired.volts[name], most)

    return apply


def coarse(name: str, step_v: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.volts[name] = np.round(wired.volts[name] / step_v) * step_v

    return apply


def leak(wired: Wired, rng: np.random.Generator) -> None:
    """Air before the sensor, the more the less gas flows."""
    flow = wired.rpm * wired.true["map"] / (3000.0 * 50.0)
    wired.true["lambda_1"] = wired.true["lambda_1"] + 0.10 / np.maximum(flow, 0.5)
    shown = to_volts(wired.true["lambda_1"], sensor_of(wired, "lambda_1"))
    wired.volts["lambda_1"] = np.where(wired.volts["lambda_1"] > 0.05, shown, wired.volts["lambda_1"])


def one_wire_for_both(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["lambda_2"] = wired.volts["lambda_1"].copy()


def banks_swapped(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["lambda_1"], wired.volts["lambda_2"] = wired.volts["lambda_2"], wired.volts["lambda_1"]


def dead_injector(wired: Wired, rng: np.random.Generator) -> None:
    """One cylinder of the second bank without fuel: that bank's mean is lean."""
    shown = to_volts(wired.true["lambda_2"] * 1.3, sensor_of(wired, "lambda_2"))
    wired.volts["lambda_2"] = np.where(wired.volts["lambda_2"] > 0.05, shown, wired.volts["lambda_2"])


# Pressure and throttle


def hose_off(from_hole: bool) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        rows = wired.rows(before_hole(wired, 1.0) if from_hole else 0.0, np.inf)
        kpa = 101.3 + rng.normal(0.0, 0.4, rows.stop - rows.start)
        wired.volts["map"][rows] = to_volts(kpa, sensor_of(wired, "map"))

    return apply


def hose_leaks(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["map"] = to_volts(0.4 * wired.true["map"] + 0.6 * 101.3, sensor_of(wired, "map"))


def small_sensor(wired: Wired, rng: np.random.Generator) -> None:
    """A sensor for an engine without boost, rightly configured."""
    wired.volts["map"] = np.clip(to_volts(wired.true["map"], ([0.5, 4.5], [20.0, 105.0])), 0.3, 4.5)
    wired.channel("map")["values"] = [20.0, 105.0]


def swapped(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["map"], wired.volts["throttle"] = wired.volts["throttle"], wired.volts["map"]


def rests_at(pct: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        shown = pct + wired.true["throttle"] * (100.0 - pct) / 100.0
        wired.volts["throttle"] = to_volts(shown, sensor_of(wired, "throttle"))

    return apply


def inverted(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["throttle"] = to_volts(100.0 - wired.true["throttle"], sensor_of(wired, "throttle"))


def throttle_from(pct: float) -> Break:
    return lambda wired, rng: still(wired, "throttle", pct, before_hole(wired, 0.8))


def halved(wired: Wired, rng: np.random.Generator) -> None:
    wired.volts["throttle"] = to_volts(0.52 * wired.true["throttle"], sensor_of(wired, "throttle"))


def part_throttle(wired: Wired, rng: np.random.Generator) -> None:
    """The driver holds the pedal at 52 %, and the charger does the rest."""
    shown = np.minimum(wired.true["throttle"], 52.0)
    wired.volts["throttle"] = to_volts(shown, sensor_of(wired, "throttle"))


# Speed, supply, configuration, driver


def per_rev(factor: float) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        channel = wired.channel("engine_speed")
        channel["per_rev"] = channel["per_rev"] * factor
        channel["max_rpm"] = 15000

    return apply


def no_speed_above(rpm: float) -> Break:
    """The pick-up loses the teeth at speed."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        fast = np.diff(np.concatenate([[0], (wired.rpm > rpm).astype(int), [0]]))
        spans = zip(np.flatnonzero(fast > 0), np.flatnonzero(fast < 0), strict=True)
        wired.edges_lost_s += [(a * STEP_S, b * STEP_S) for a, b in spans]

    return apply


def weak_supply(wired: Wired, rng: np.random.Generator) -> None:
    if wired.has("battery"):
        wired.volts["battery"] = wired.volts["battery"] - 4.2


def config_key(name: str, **keys: object) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.channel(name).update(keys)

    return apply


def another_fuel(wired: Wired, rng: np.random.Generator) -> None:
    wired.config["fuel"] = {"name": "e85"}


def target_one_number(wired: Wired, rng: np.random.Generator) -> None:
    wired.config["target"] = {"lambda": 1.0}


def without(*names: str) -> Break:
    def apply(wired: Wired, rng: np.random.Generator) -> None:
        wired.config["channels"] = [one for one in wired.config["channels"] if one["name"] not in names]
        for name in names:
            wired.volts.pop(name, None)
        load = wired.config["target"].get("load")
        if load in names:
            wired.config["target"] = {"lambda": wired.config["target"]["lambda"][-1]}

    return apply


def nobody_marks(wired: Wired, rng: np.random.Generator) -> None:
    wired.presses_s = []


def marks_late(wired: Wired, rng: np.random.Generator) -> None:
    wired.presses_s = [at + (0.8 if n % 2 == 0 else 0.0) for n, at in enumerate(wired.presses_s)]


def pressed_within(*after_s: float) -> Break:
    """Presses too many, these seconds after some instant within the pull that has the hole."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        hole = wired.hole_s[0]
        start_s, end_s = min(wired.pulls_s, key=lambda one: abs(0.5 * (one[0] + one[1]) - hole))
        at = rng.uniform(start_s + 0.3 * (end_s - start_s), start_s + 0.8 * (end_s - start_s))
        wired.presses_s = sorted([*wired.presses_s, *(at + more for more in after_s)])

    return apply


def both(*breaks: Break) -> Break:
    """One after the other."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        for one in breaks:
            one(wired, rng)

    return apply


SPEED_ALONE = without("map", "throttle")


def key_on_late(wired: Wired, rng: np.random.Generator) -> None:
    """The logger gets its power when the engine runs already."""
    first = wired.rows(12.0, np.inf).start
    for arrays in (wired.true, wired.volts):
        for name in arrays:
            arrays[name] = arrays[name][first:]
    wired.time_s = wired.time_s[: len(wired.time_s) - first]
    wired.rpm = wired.rpm[first:]
    by_s = first * STEP_S
    wired.truth_s -= by_s
    wired.presses_s = [at - by_s for at in wired.presses_s]
    wired.edges_lost_s = [(a - by_s, b - by_s) for a, b in wired.edges_lost_s]


# Engine


def misfire(wired: Wired, rng: np.random.Generator) -> None:
    """Charges that do not burn: oxygen, so lambda reads falsely lean for a moment."""
    shown = wired.true["lambda_1"].copy()
    puff = np.zeros(len(shown))
    for start_s, end_s in wired.pulls_s:
        for at in rng.uniform(start_s + 0.5, end_s, 4):
            puff[wired.rows(at, at + 0.03)] = 0.35
    shown += lag(puff, 0.06, STEP_S)
    shown = to_volts(shown, sensor_of(wired, "lambda_1"))
    wired.volts["lambda_1"] = np.where(wired.volts["lambda_1"] > 0.05, shown, wired.volts["lambda_1"])


def spikes(wired: Wired, rng: np.random.Generator) -> None:
    """Two of 0.03 s to 5 V in each pull."""
    for start_s, end_s in wired.pulls_s:
        for at in rng.uniform(start_s + 0.3, end_s, 2):
            volts(wired, "lambda_1", 5.0, at, at + 0.03)


def thin_air(wired: Wired, rng: np.random.Generator) -> None:
    """2,500 m up: all pressures in proportion, and the computer's fuel with them."""
    engine = wired.drive.truth.engine
    thin = wired.true["map"] * 0.74
    wired.volts["map"] = to_volts(thin, sensor_of(wired, "map"))
    leaner = lag(engine.target(thin) - engine.target(wired.true["map"]), 0.2, STEP_S)
    shown = to_volts(wired.true["lambda_1"] + leaner, sensor_of(wired, "lambda_1"))
    wired.volts["lambda_1"] = np.where(wired.volts["lambda_1"] > 0.05, shown, wired.volts["lambda_1"])


def with_start(fault: Break) -> Break:
    """The fault on a logger that was powered after the start."""

    def apply(wired: Wired, rng: np.random.Generator) -> None:
        key_on_late(wired, rng)
        fault(wired, rng)

    return apply


LAMBDA, SECOND, MAP, THROTTLE, SPEED = ("lambda_1",), ("lambda_2",), ("map",), ("throttle",), ("engine_speed",)
DOUBLE_PRESS = pressed_within(0.0, 0.25)
SOUND = Fault("no fault", "none", lambda wired, rng: None)
FAULTS = (
    Fault("lambda frozen at 0.98", "sensor", frozen(0.98), LAMBDA),
    Fault("lambda frozen at 0.80", "sensor", frozen(0.80), LAMBDA),
    Fault("lambda frozen from before the hole", "sensor", frozen_from(), LAMBDA),
    Fault("lambda frozen for 1.4 s over the hole", "sensor", frozen_over_hole(1.4), LAMBDA),
    Fault("lambda frozen, logger powered late", "sensor", with_start(frozen(0.9)), LAMBDA),
    Fault("lambda 0 V all along", "wiring", at_volts("lambda_1", 0.0), LAMBDA),
    Fault("lambda 0 V over the hole", "controller", no_output_over_hole("lambda_1", 0.0), LAMBDA),
    Fault("lambda 0 V from before the hole", "wiring", no_output_from("lambda_1", 0.0), LAMBDA),
    Fault("lambda 0.2 V over the hole", "controller", no_output_over_hole("lambda_1", 0.08), LAMBDA),
    Fault("lambda 5 V all along", "wiring", at_volts("lambda_1", 5.0), LAMBDA),
    Fault("lambda wire open, floats at 1.9 V", "wiring", at_volts("lambda_1", 1.9), LAMBDA),
    Fault("lambda shows 0.1 too rich", "scale", shift_values("lambda_1", -0.1), LAMBDA),
    Fault("lambda shows 0.06 too rich", "scale", shift_values("lambda_1", -0.06), LAMBDA),
    Fault("lambda shows 0.1 too lean", "scale", shift_values("lambda_1", 0.1), LAMBDA),
    Fault("lambda scale 1.6 times about 1.0", "scale", scaled_about("lambda_1", 1.6, 1.0), LAMBDA, boosted=True),
    Fault("lambda scale a half about 0.8", "scale", scaled_about("lambda_1", 0.5, 0.8), LAMBDA),
    Fault("lambda volts and values turned round", "configuration", config_key("lambda_1", values=[1.36, 0.68]), LAMBDA),
    Fault("afr constant of another fuel, rich", "configuration", afr_constant(14.7, 15.6), LAMBDA),
    Fault("afr constant of another fuel, lean", "configuration", afr_constant(14.7, 13.8), LAMBDA),
    Fault("lambda ground off by 0.5 V", "wiring", added_volts("lambda_1", -0.5), LAMBDA),
    *(Fault(*one) for one in GROUND_CORE),
    Fault("lambda plug flickers to 5 V", "wiring", flicker("lambda_1", 5.0, 5.0, 0.03), LAMBDA),
    Fault("lambda plug flickers to 0 V", "wiring", flicker("lambda_1", 0.0, 5.0, 0.05), LAMBDA),
    Fault("spikes to 5 V", "wiring", spikes, (), evidence=False),
    Fault("lambda sensor aged, 1 s slow", "sensor", slow("lambda_1", 1.0), LAMBDA),
    Fault("lambda filtered, 3 s slow", "controller", slow("lambda_1", 3.0), LAMBDA),
    Fault("lambda 2.5 s late", "controller", late("lambda_1", 2.5), LAMBDA),
    Fault("lambda flat above 0.86", "wiring", flat_top("lambda_1", 0.86), LAMBDA),
    Fault("lambda in steps of 0.5 V", "controller", coarse("lambda_1", 0.5), LAMBDA),
    Fault("leak before the sensor", "engine", leak, LAMBDA),
    Fault("second bank 0 V", "wiring", at_volts("lambda_2", 0.0), SECOND, banks=2),
    Fault("second bank 0.2 V", "wiring", at_volts("lambda_2", 0.08), SECOND, banks=2),
    Fault("second bank frozen", "sensor", frozen(0.85, "lambda_2"), SECOND, banks=2),
    Fault("second bank frozen from before the hole", "sensor", frozen_from("lambda_2"), SECOND, banks=2),
    Fault("second bank 0 V over the hole", "controller", no_output_over_hole("lambda_2", 0.0), SECOND, banks=2),
    Fault("second bank 5 V", "wiring", at_volts("lambda_2", 5.0), SECOND, banks=2),
    Fault("second bank shows 0.1 too rich", "scale", shift_values("lambda_2", -0.1), SECOND, banks=2),
    Fault("one wire for both banks", "wiring", one_wire_for_both, ("lambda_1", "lambda_2"), banks=2),
    Fault("banks swapped", "wiring", banks_swapped, (), evidence=False, banks=2),
    Fault("dead injector on one bank", "engine", dead_injector, SECOND, evidence=False, banks=2),
    Fault("pressure stuck at 20 kPa", "sensor", lambda wired, rng: still(wired, "map", 20.0), MAP),
    Fault("pressure stuck at 60 kPa", "sensor", lambda wired, rng: still(wired, "map", 60.0), MAP),
    Fault("pressure stuck at 100 kPa", "sensor", lambda wired, rng: still(wired, "map", 100.0), MAP),
    Fault("pressure stuck at 60 kPa, powered late", "sensor", with_start(lambda w, rng: still(w, "map", 60.0)), MAP),
    Fault("hose off", "engine", hose_off(False), MAP),
    Fault("hose off in mid-drive", "engine", hose_off(True), MAP),
    Fault("hose leaks", "engine", hose_leaks, MAP),
    Fault("gauge for absolute", "configuration", values_are("map", [-80.0, 200.0]), MAP),
    Fault("gauge for absolute, powered late", "configuration", with_start(values_are("map", [-80.0, 200.0])), MAP),
    Fault("absolute for gauge", "configuration", values_are("map", [120.0, 400.0]), MAP),
    Fault("pressure in bar", "configuration", values_are("map", [0.2, 3.0]), MAP),
    Fault("pressure in psi", "configuration", values_are("map", [2.9, 43.5]), MAP),
    Fault("pressure of another sensor, 20-105", "configuration", values_are("map", [20.0, 105.0]), MAP),
    Fault("pressure of another sensor, 20-400", "configuration", values_are("map", [20.0, 400.0]), MAP),
    Fault("pressure of another sensor, 20-250", "configuration", values_are("map", [20.0, 250.0]), MAP, evidence=False),
    Fault("pressure turned round", "configuration", values_are("map", [300.0, 20.0]), MAP),
    Fault("pressure wire off, 0 V", "wiring", at_volts("map", 0.0), MAP),
    Fault("pressure wire at 5 V", "wiring", at_volts("map", 5.0), MAP),
    Fault("pressure plug flickers to 0 V", "wiring", flicker("map", 0.0, 5.0, 0.1), MAP),
    Fault("pressure hose blocked, 2 s slow", "engine", slow("map", 2.0), MAP),
    Fault("pressure hose blocked, 1.3 s slow", "engine", slow("map", 1.3), MAP),
    Fault("pressure sensor too small", "sensor", small_sensor, MAP, boosted=True),
    Fault("pressure 30 kPa too high", "scale", added_volts("map", 0.43), MAP),
    Fault("pressure 30 kPa too low", "scale", added_volts("map", -0.43), MAP),
    Fault("pressure and throttle swapped", "wiring", swapped, ("map", "throttle")),
    Fault("throttle stuck open", "sensor", lambda wired, rng: still(wired, "throttle", 100.0), THROTTLE),
    Fault("throttle stuck closed", "sensor", lambda wired, rng: still(wired, "throttle", 0.0), THROTTLE),
    Fault("throttle stuck half open", "sensor", lambda wired, rng: still(wired, "throttle", 45.0), THROTTLE),
    Fault("throttle stuck open from before the hole", "sensor", throttle_from(100.0), THROTTLE),
    Fault("throttle stuck closed from before the hole", "sensor", throttle_from(0.0), THROTTLE),
    Fault("throttle rests at 83 %", "engine", rests_at(83.0), THROTTLE),
    Fault("throttle rests at 40 %", "configuration", rests_at(40.0), THROTTLE),
    Fault("throttle turned round", "wiring", inverted, THROTTLE),
    Fault("throttle wire off, 0 V", "wiring", at_volts("throttle", 0.0), THROTTLE),
    Fault("throttle shows half", "scale", halved, (), evidence=False),
    Fault("full load at 52 % of throttle", "driver", part_throttle, (), evidence=False, boosted=True),
    Fault("pulses per turn twice too many", "configuration", per_rev(2.0), SPEED, evidence=False),
    Fault("pulses per turn four times too many", "configuration", per_rev(4.0), SPEED),
    Fault("pulses per turn a quarter", "configuration", per_rev(0.25), SPEED),
    Fault("no speed above 3,500 rpm", "wiring", no_speed_above(3500.0), SPEED),
    Fault("supply at 9.7 V", "engine", weak_supply, ("battery",)),
    Fault("another fuel configured", "configuration", another_fuel, (), evidence=False),
    Fault("target 1.0 everywhere", "configuration", target_one_number, LAMBDA),
    Fault("no throttle logged", "configuration", without("throttle"), (), evidence=False),
    Fault("no pressure logged", "configuration", without("map"), (), evidence=False),
    Fault("nobody marks", "driver", nobody_marks, (), evidence=False),
    Fault("marks come late", "driver", marks_late, (), evidence=False),
    Fault("a press too many in a pull", "driver", pressed_within(0.0), (), evidence=False),
    Fault("a double press in a pull", "driver", DOUBLE_PRESS, (), evidence=False),
    Fault("lambda and speed alone", "configuration", SPEED_ALONE, (), evidence=False),
    Fault(
        "lambda and speed alone, a press too many", "driver", both(SPEED_ALONE, pressed_within(0.0)), (), evidence=False
    ),
    Fault("lambda and speed alone, a double press", "driver", both(SPEED_ALONE, DOUBLE_PRESS), (), evidence=False),
    Fault("logger powered late", "driver", key_on_late, (), evidence=False),
    Fault("misfire", "engine", misfire, (), evidence=False),
    Fault("thin air, 75 kPa", "engine", thin_air, (), evidence=False),
)
