"""Engine speed from sparks and lines through the tach blocks into the firmware's own glitch filter."""

import json
import re
import subprocess

import coil
import numpy as np
import pytest
import spice

from hardware.circuit import limits, netlist, stress
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.build import ROOT
from ringpull.dryrun.run import find_micropython

pytestmark = spice.needs_ngspice

MAX_RPM = 12500
PER_REV = 2
GATES = {"usual": "up=2.0 down=1.2", "low": "up=1.5 down=0.7", "high": "up=2.4 down=1.6"}
SPARKS = {"strong": (390.0, 150.0, 35.0), "weak": (110.0, 40.0, 20.0)}  # peak, ringing, ringing at the end of the burn
FILTER = """
import json, sys
from acquire.tach import Tach
from shared_math import speed, ticks
edges_us, channel = json.loads(sys.stdin.read())
tach = Tach(speed.glitch_limit_us(channel))
kept = []
for tick in edges_us:
    before = tach.count
    tach.edge(tick & ticks.MASK)
    if tach.count != before:
        kept.append(tick)
print(json.dumps([kept, tach.rejected]))
"""


def glitch_filter(edges_s: np.ndarray) -> tuple[np.ndarray, int]:
    """(times of the edges that the firmware takes, number refused), run by MicroPython."""
    channel = {"kind": "pulses", "per_rev": PER_REV, "max_rpm": MAX_RPM}
    job = json.dumps([[int(t * 1e6) for t in edges_s], channel])
    path = f"{ROOT / 'firmware'}:{ROOT}"
    command = [find_micropython(), "-X", "heapsize=1m", "-c", FILTER]
    done = subprocess.run(command, input=job, capture_output=True, text=True, check=True, env={"MICROPYPATH": path})
    kept, rejected = json.loads(done.stdout)
    return np.asarray(kept) * 1e-6, rejected


def rising(result: dict, net: str) -> np.ndarray:
    """Times at which a net passes 1.65 V upwards."""
    high = result[f"v({net})"] > 1.65
    return result["time"][1:][high[1:] & ~high[:-1]]


def spark_run(name: str, rpm: float, spark: str, gate: str) -> tuple[dict, np.ndarray]:
    count = 3 if rpm < 500 else 6
    at = coil.sparks(rpm, PER_REV, count)
    time, volts = coil.primary(at, *SPARKS[spark])
    parameters = {"U1A": GATES[gate], "U1B": GATES[gate], "U2": "ctr=0.5" if spark == "weak" else "ctr=1.6"}
    body = netlist.lines(BY_NAME[name], "x", parameters=parameters) + coil.source("x.in", time, volts)
    body += ["vrail 3v3 0 3.3"] + (["rblock x.gin 0 0.1"] if name == "tach_opto" else [])
    return spice.transient(body, time[-1], 25, 40e-6), at


RUNS = [(200, "strong", "low"), (200, "weak", "high"), (6000, "strong", "usual")]
RUNS += [(12000, "strong", "low"), (12000, "weak", "high")]
MORE = [(rpm, spark, "usual") for rpm in (200, 1000, 6000, 12000) for spark in SPARKS]
MORE += [(12000, "strong", "high"), (12000, "weak", "low")]
RUNS += [pytest.param(*one, marks=pytest.mark.slow) for one in MORE if one not in RUNS]


def coils_and_runs():
    """Both inputs; of the isolated one in every run the slowest, a usual and the fastest speed with a strong spark."""
    for run in RUNS:
        usual = not hasattr(run, "values")  # without pytest.param
        values = run if usual else run.values
        for name in ("tach_coil", "tach_opto"):
            often = usual and (name == "tach_coil" or values[1] == "strong")
            yield pytest.param(name, *values, marks=() if often else pytest.mark.slow)


@pytest.mark.parametrize("name, rpm, spark, gate", list(coils_and_runs()))
def test_coil_gives_the_true_speed(name, rpm, spark, gate):
    result, at = spark_run(name, rpm, spark, gate)
    assert stress.overloads(result, BY_NAME[name], "x", steady=True) == []
    assert limits.GATE_V[0] < result["v(x.n)"].min() and result["v(x.n)"].max() < limits.GATE_V[1]
    kept, _ = glitch_filter(rising(result, "x.pin"))
    assert len(kept) == len(at)
    late_us = (kept - at) * 1e6
    assert 0 < late_us.min() and late_us.max() < 60 and np.ptp(late_us) < 15
    speed = 60 * (len(kept) - 1) / (kept[-1] - kept[0]) / PER_REV
    assert speed == pytest.approx(rpm, rel=5e-4)


def test_ringing_reaches_the_filter():
    """What the filter is for: a strong spark with a quick gate gives more edges than sparks, and they are refused."""
    at = coil.sparks(6000, PER_REV, 8)
    time, volts = coil.primary(at, 390.0, 380.0, 35.0)
    body = netlist.lines(BY_NAME["tach_coil"], "x", parameters={"U1A": GATES["high"], "U1B": GATES["high"]})
    result = spice.transient([*body, *coil.source("x.in", time, volts), "vrail 3v3 0 3.3"], time[-1], 25, 40e-6)
    edges = rising(result, "x.pin")
    kept, refused = glitch_filter(edges)
    assert len(edges) > len(at)
    assert refused == len(edges) - len(at)
    assert 60 * 7 / (kept[-1] - kept[0]) / PER_REV == pytest.approx(6000, rel=5e-4)


LINES = [(4.0, "high"), (14.4, "low")]
MORE_LINES = [(volts, gate) for volts in (4.0, 5.0, 12.0, 14.4) for gate in GATES]
LINES += [pytest.param(*one, marks=pytest.mark.slow) for one in MORE_LINES if one not in LINES]


@pytest.mark.parametrize("high_v, gate", LINES)
def test_logic_line(high_v, gate):
    """A square wave at 12,000 rpm with slow edges, and at its top enough noise to make a bare pin count it."""
    period = 60 / (12000 * PER_REV)
    noise = "sin(0 0.3 180k)"
    body = netlist.lines(
        BY_NAME["tach_logic"], "x", values={"JP1": "100meg"}, parameters={"U1A": GATES[gate], "U1B": GATES[gate]}
    )
    body += [f"vline line.n 0 pulse(0.2 {high_v} 1m 20u 20u {period / 2 - 20e-6:g} {period:g})", "v5v 5v 0 5"]
    body += [f"vnoise noisy.n line.n {noise}", "rline noisy.n x.in 100", "vrail 3v3 0 3.3"]
    result = spice.transient(body, 1e-3 + 8 * period, 25, 2e-6)
    kept, refused = glitch_filter(rising(result, "x.pin"))
    assert len(kept) == 8
    assert 60 * 7 / (kept[-1] - kept[0]) / PER_REV == pytest.approx(12000, rel=1e-3)


@pytest.mark.parametrize("high_v", [5.0, 12.0])
@pytest.mark.parametrize("gate", GATES)
def test_logic_line_of_sixty_teeth(high_v, gate):
    """15,000 a second, as 60 pulses a revolution give at 15,000 rpm: what the RP2040 is said to stamp gets to its
    pin."""
    period = 1 / 15000
    body = netlist.lines(
        BY_NAME["tach_logic"], "x", values={"JP1": "100meg"}, parameters={"U1A": GATES[gate], "U1B": GATES[gate]}
    )
    body += [f"vline x.in 0 pulse(0.2 {high_v} 0.1m 2u 2u {period / 2 - 2e-6:g} {period:g})", "v5v 5v 0 5"]
    body += ["vrail 3v3 0 3.3"]
    result = spice.transient(body, 0.1e-3 + 20.2 * period, 25, 2e-7)
    edges = rising(result, "x.pin")
    assert len(edges) == 21
    assert np.diff(edges) == pytest.approx(period, rel=0.01)


@pytest.mark.parametrize("gate", GATES)
@pytest.mark.parametrize("high_v, swallowed_us", [(5.0, 4.0), (14.4, 1.0)])
def test_spikes_are_swallowed(gate, high_v, swallowed_us):
    """README's and the drawing's figure: shorter than 1 us, of 5 V shorter than 4 us; one of 20 us passes."""
    parts = netlist.lines(BY_NAME["tach_logic"], "x", parameters={"U1A": GATES[gate], "U1B": GATES[gate]})
    for width_us, passes in ((swallowed_us, False), (20.0, True)):
        spike = f"vline x.in 0 pulse(0 {high_v} 20u 0.1u 0.1u {width_us}u 1)"
        result = spice.transient([*parts, spike, "v5v 5v 0 5", "vrail 3v3 0 3.3"], 100e-6, 25, 1e-7)
        assert (result["v(x.pin)"].max() > 1.65) == passes


def test_open_collector_line():
    """With JP1 closed the block's own pull-up makes a signal of an output that only pulls down."""
    body = netlist.lines(BY_NAME["tach_logic"], "x", values={"JP1": "0.01"})
    body += ["v5v 5v 0 5", "vrail 3v3 0 3.3", "s1 x.in 0 gate 0 pull", "vgate gate 0 pulse(0 1 1m 1u 1u 2m 5m)"]
    body += [".model pull SW(vt=0.5 ron=10 roff=10meg)"]
    result = spice.transient(body, 41e-3, 25, 20e-6)
    kept, _ = glitch_filter(rising(result, "x.pin")[1:])
    assert 60 * (len(kept) - 1) / (kept[-1] - kept[0]) / PER_REV == pytest.approx(6000, rel=1e-3)


@pytest.mark.parametrize("degc", [-40, 85])
def test_an_open_collector_s_low_is_a_low_for_every_gate(degc):
    """With JP1 closed and a driver that leaves 0.4 V (common practice, no source): a tenth of a volt below the lowest
    threshold; and above the highest one when it lets go."""
    body = netlist.lines(BY_NAME["tach_logic"], "x", values={"JP1": "0.01"})
    body += ["v5v 5v 0 4.8", "vrail 3v3 0 3.3", "vlow low.n 0 0.4", "s1 x.in low.n gate 0 pull"]
    body += ["vgate gate 0 pulse(0 1 1m 1u 1u 2m 5m)", ".model pull SW(vt=0.5 ron=10 roff=10meg)"]
    result = spice.transient(body, 3e-3, degc, 5e-6)
    lowest, highest = (float(re.search(rf"{word}=([\d.]+)", text)[1]) for word, text in
                       (("down", GATES["low"]), ("up", GATES["high"])))  # fmt: skip
    assert result["v(x.n)"][np.searchsorted(result["time"], 2.9e-3)] < lowest - 0.1
    assert result["v(x.n)"][np.searchsorted(result["time"], 0.9e-3)] > highest + 0.1


@pytest.mark.parametrize("line_v, most_v", [(14.4, 1.6), (24.0, 2.6)])
@pytest.mark.parametrize("degc", [-40, 85])
def test_lines_lift_the_rail_of_a_logger_that_is_off_by_little(line_v, most_v, degc):
    """README's figure: both lines at the battery's volts feed 3V3 through their clamps, and nothing takes that away
    but the clamp voltages' dividers, as if no chip drew anything."""
    body = netlist.lines(BY_NAME["clamp"], "v") + ["r5v 5v 0 1k"]
    for line in ("one", "two"):
        gates = [text for text in netlist.lines(BY_NAME["tach_logic"], line) if "SCHMITT" not in text]
        body += [*gates, f"v{line} {line}.in 0 {line_v}"]
    assert 0.5 * most_v < spice.transient(body, 20e-3, degc)["v(3v3)"][-1] < most_v
    readme = (ROOT / "hardware" / "README.md").read_text()
    assert f"both tach lines at {line_v:g} V" in readme and f"{most_v} V" in readme


WIDTHS = """
import json, sys
from acquire.pulse import Pulse
from shared_math import speed, ticks
changes, channel = json.loads(sys.stdin.read())
meter = Pulse(speed.glitch_limit_us(channel))
for tick, level in changes:
    meter.change((level == 1) == (channel["polarity"] == "high"), tick & ticks.MASK)
out = []
for count in range(1, meter.count + 1):
    out.append(meter.widths[count & 15])
print(json.dumps([out, meter.width, meter.rejected]))
"""


@pytest.mark.parametrize("gate", GATES)
def test_injector_line(gate):
    """An injector's driver (common practice, no source): 0.4 V while it is open, the battery's 13.8 V otherwise, and 80
    V for half a millisecond when the current is cut. The logic line's block passes it on to the firmware's pulse
    meter."""
    on_ms = [2.5, 1.6, 9.0, 2.2]
    time, volts = [0.0], [13.8]
    for n, on in enumerate(on_ms):
        begin = 5e-3 + 20e-3 * n
        end = begin + on / 1e3
        time += [begin, begin + 2e-6, end, end + 3e-6, end + 0.5e-3, end + 0.55e-3]
        volts += [13.8, 0.4, 0.6, 80.0, 78.0, 13.8]
    body = netlist.lines(
        BY_NAME["tach_logic"], "x", values={"JP1": "100meg"}, parameters={"U1A": GATES[gate], "U1B": GATES[gate]}
    )
    body += [*coil.source("x.in", np.array(time), np.array(volts)), "v5v 5v 0 5", "vrail 3v3 0 3.3"]
    result = spice.transient(body, 85e-3, 25, 2e-6)
    assert stress.overloads(result, BY_NAME["tach_logic"], "x", steady=True) == []
    assert limits.GATE_V[0] < result["v(x.n)"].min() and result["v(x.n)"].max() < limits.GATE_V[1]
    high = result["v(x.pin)"] > 1.65
    at = np.flatnonzero(high[1:] != high[:-1]) + 1
    changes = [[int(result["time"][k] * 1e6), int(high[k])] for k in at]
    channel = {"kind": "pulse_width", "polarity": "low", "ringing_us": 200}
    path = f"{ROOT / 'firmware'}:{ROOT}"
    command = [find_micropython(), "-X", "heapsize=1m", "-c", WIDTHS]
    job = json.dumps([changes, channel])
    done = subprocess.run(command, input=job, capture_output=True, text=True, check=True, env={"MICROPYPATH": path})
    whole, last, rejected = json.loads(done.stdout)
    error_us = np.array([*whole, last]) - 1000 * np.array(on_ms)
    # It is seen to close at once, and to open when the block's capacitor is empty: 5 to 20 us later
    assert len(error_us) == len(on_ms) and -25 < error_us.min() and error_us.max() < 5 and np.ptp(error_us) < 4
    assert rejected == 0
