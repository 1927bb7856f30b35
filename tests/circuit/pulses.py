"""What a car's wiring does to whatever hangs on it, as ngspice sources with their inner resistance.

Shapes after ISO 7637-2 (level IV, 12 V; 2004 figures as printed in public copies, 2011 figures and the shape
constants from memory) and ISO 16750-2 (load dump A 79-101 V printed; B 35 V, jump start, reverse and cranking from
memory). Each is a pair: netlist lines that drive net NET, and the seconds to simulate.
"""

from __future__ import annotations

BATTERY_V = 13.5


def _behind(ohm: float, source: str, net: str) -> list[str]:
    return [f"vsource source.n 0 {source}", f"rsource source.n {net} {ohm}"]


def _double_exponential(peak_v: float, rise_s: float, length_s: float, at_s: float = 0.001) -> str:
    """Rise 10-90 % and length 10-10 %: tau = t10 / ln(10) and rise / 2.2."""
    return f"exp({BATTERY_V} {BATTERY_V + peak_v} {at_s} {rise_s / 2.2:g} {at_s + rise_s:g} {length_s / 2.3:g})"


def pulse_1(net, peak_v=-150.0):
    """A load beside us is switched off and the feed with it: 10 ohm, 2 ms."""
    rise, length = 1e-6, 2e-3
    shape = f"exp({0.0} {peak_v} 1.1m {rise / 2.2:g} {1.1e-3 + rise:g} {length / 2.3:g})"
    body = [f"vfeed feed.n 0 pwl(0 {BATTERY_V} 1m {BATTERY_V} 1.001m 0)", f"vsource source.n feed.n {shape}"]
    return [*body, f"rsource source.n {net} 10"], 8e-3


def pulse_2a(net, peak_v=112.0):
    """A current in the harness is cut: 2 ohm, 50 us."""
    return _behind(2, _double_exponential(peak_v, 1e-6, 50e-6), net), 3e-3


def pulse_3a(net, peak_v=-150.0):
    """Switching bursts, negative: 50 ohm, 5 ns rise, 0.1 us, every 100 us, coupled by 100 nF onto a wire of 5 uH."""
    body = [f"vfeed feed.n 0 {BATTERY_V}", "lfeed feed.n wire.n 5u", f"rfeed wire.n {net} 0.05"]
    body += [f"vsource source.n 0 pulse(0 {peak_v} 50u 5n 70n 30n 100u)", "rsource source.n coupled.n 50"]
    return [*body, f"ccouple coupled.n {net} 100n"], 1e-3


def pulse_3b(net, peak_v=100.0):
    """Switching bursts, positive."""
    return pulse_3a(net, peak_v)


def load_dump(net, peak_v=101.0):
    """Alternator without its battery: 0.5 ohm, 10 ms rise, 400 ms; `peak_v` is the top of it."""
    return _behind(0.5, _double_exponential(peak_v - BATTERY_V, 10e-3, 400e-3), net), 0.6


def clamped_load_dump(net):
    """The same behind the alternator's own suppressor: 35 V."""
    lines, length = load_dump(net, 87.0)
    return [
        lines[0],
        "rsource source.n clamped.n 0.5",
        "dclamp 0 clamped.n clamp35",
        ".model clamp35 D(bv=34.5 rs=0.01)",
        f"rclamped clamped.n {net} 0.01",
    ], length


def steady(net, volts):
    """A lasting voltage, switched on in 1 ms."""
    return _behind(0.05, f"pwl(0 0 1m {volts})", net), 1.0


def cranking(net, low_v, hold_v, minus="0"):
    """Starter engages: 5 ms down to `low_v` for 15 ms, then 2 s at `hold_v` with 2 V peak to peak at 2 Hz, then
    back."""
    points = [(0, 12), (0.3, 12), (0.305, low_v), (0.32, low_v), (0.37, hold_v)]
    points += [(0.495 + 0.25 * k, hold_v + (1 if k % 2 else -1)) for k in range(8)]
    points += [(2.5, 12), (2.6, 12)]
    shape = "pwl(" + " ".join(f"{t} {v}" for t, v in points) + ")"
    return [f"vsource source.n {minus} {shape}", f"rsource source.n {net} 0.02"], 2.6
