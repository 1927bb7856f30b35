"""Holds every part of simulated blocks against its ratings in hardware/circuit/stock.py."""

from __future__ import annotations

import numpy as np

from hardware.circuit.model import Block, Part
from hardware.circuit.netlist import SUBCIRCUIT, nets_of
from hardware.circuit.stock import STOCK

SURGE_S = 0.010
PEAK_S = 1e-6  # no semiconductor dies faster, and a solver's single steps are no current


def overloads(result: dict, block: Block, instance: str, steady: bool = False) -> list[str]:
    """Sentences about every rating passed by a part of the block; empty when all hold."""
    return [
        sentence
        for part in block.parts
        for sentence in part_overloads(result, part, instance, nets_of(part, instance), steady)
    ]


def part_overloads(result: dict, part: Part, instance: str, nets: dict[str, str], steady: bool = False) -> list[str]:
    """Sentences about every rating that a part on these nodes passes.

    Power: its mean over any `steady_s` of the part must stay within the rating (what was not simulated counts as
    nothing; with `steady` the last tenth of the run goes on for ever), over any 10 ms within the surge rating.
    """
    stock = STOCK[part.stock]
    loads = part_loads(result, part, instance, nets)
    if loads is None:
        return []
    volts, amps, watts = loads
    out = _voltage(part, stock, volts)
    peak = window_mean(result["time"], np.abs(amps), PEAK_S)
    if stock.peak_a and peak > stock.peak_a:
        out.append(f"{instance}.{part.ref}: {peak:.3g} A, rated {stock.peak_a:g} A")
    if not stock.power_w:
        return out
    mean = window_mean(result["time"], watts, stock.steady_s)
    if steady:
        mean = max(mean, lasting(result["time"], watts))
    surge = window_mean(result["time"], watts, SURGE_S)
    if mean > stock.power_w:
        out.append(f"{instance}.{part.ref}: {mean:.3g} W, rated {stock.power_w:g} W")
    if surge > stock.power_w * stock.surge:
        out.append(f"{instance}.{part.ref}: {surge:.3g} W over 10 ms, rated {stock.power_w * stock.surge:g} W")
    return out


def lasting(time_s: np.ndarray, values: np.ndarray) -> float:
    """The mean over the last tenth of the run."""
    last = time_s > time_s[0] + 0.9 * np.ptp(time_s)
    return float(np.trapezoid(values[last], time_s[last]) / np.ptp(time_s[last]))


def _voltage(part: Part, stock, volts: np.ndarray) -> list[str]:
    if not stock.volts or stock.kind in ("zener", "box", "fuse", "led"):
        return []  # a Zener's volts are its purpose; boxes are asserted where they are simulated
    worst = float(np.max(np.abs(volts)))
    out = [f"{part.ref}: {worst:.3g} V, rated {stock.volts:g} V"] if worst > stock.volts else []
    if stock.kind == "electrolytic" and np.min(volts) < -1.0:
        out.append(f"{part.ref}: reversed by {np.min(volts):.3g} V")
    return out


def window_mean(time_s: np.ndarray, watts: np.ndarray, window_s: float) -> float:
    """The largest mean over any window of that length; before and after the run there is nothing."""
    energy = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * (watts[1:] + watts[:-1]) / 2)])
    later = np.interp(time_s + window_s, time_s, energy)
    return float(np.max(later - energy) / window_s)


def part_loads(result: dict, part: Part, instance: str, nets: dict[str, str]):
    """(volts across, amperes through, watts in) over time of a part, or None where it is not simulated."""

    def volts(pin):
        net = nets[pin]
        return np.zeros(len(result["time"])) if net == "0" else result[f"v({net})"]

    def amps(letter, which):
        return result[f"i(@{letter}{name}[{which}])"]

    name = f"{instance}.{part.ref}".lower()
    if part.stock in SUBCIRCUIT and not part.stock.startswith("reg_5v"):
        return None
    kind = STOCK[part.stock].kind
    if kind == "resistor":
        across = volts("a") - volts("b")
        return across, amps("r", "i"), across * amps("r", "i")
    if kind in ("diode", "schottky", "zener", "led"):
        across = volts("a") - volts("b")
        return across, amps("d", "id"), across * amps("d", "id")
    if kind in ("npn", "pnp"):
        across = volts("c") - volts("e")
        through = amps("q", "ic")
        return across, through, across * through + (volts("b") - volts("e")) * amps("q", "ib")
    if kind == "pmos":
        across = volts("d") - volts("s")
        through = amps("m", "id")
        return across, through, np.abs(across * through)
    if kind in ("capacitor", "electrolytic"):
        across = volts("a") - volts("b")
        return across, np.zeros_like(across), np.zeros_like(across)
    if part.stock.startswith("reg_5v"):
        into, out = result[f"i(@b.x{name}.b3[i])"], result[f"i(@b.x{name}.b2[i])"]
        return volts("in"), out, volts("in") * into - volts("out") * out
    return None
