"""Every input against what a wire in a car can touch: pins stay within their ratings, parts within theirs."""

import numpy as np
import pulses
import pytest
import spice

from hardware.circuit import limits, netlist, stress
from hardware.circuit.blocks import BY_NAME

pytestmark = spice.needs_ngspice

CASES = {
    "pulse 1": pulses.pulse_1,
    "pulse 2a": pulses.pulse_2a,
    "pulse 3a": pulses.pulse_3a,
    "pulse 3b": pulses.pulse_3b,
    "load dump 101 V": pulses.load_dump,
    "load dump 35 V": pulses.clamped_load_dump,
    "reversed battery": lambda net: pulses.steady(net, -14.0),
    "jump start": lambda net: pulses.steady(net, 24.0),
    "battery": lambda net: pulses.steady(net, 14.4),
    "ground": lambda net: pulses.steady(net, 0.0),
}
STEADY = ("reversed battery", "jump start", "battery", "ground")
NOT_FOR_RESISTIVE = ("pulse 1", "pulse 2a", "load dump 101 V")  # README: a resistive sensor's wire never meets those
LINES = [
    ("analog_5v", "in"),
    ("analog_battery", "in"),
    ("differential", "p1"),
    ("differential", "m1"),
    ("sensor_tap", "p1"),
    ("sensor_tap", "m1"),
    ("thermistor", "in"),
    ("pt1000", "in"),
    ("tach_logic", "l"),
]
DIFFERENCES = ("differential", "sensor_tap")
RESISTIVE = ("thermistor", "pt1000")


def attack(name: str, line: str, case: str, degc: float, rail_v: float = 3.3) -> tuple[dict, list[str]]:
    """(simulated vectors, overloads) with `case` on that line of one input."""
    source, seconds = CASES[case](f"x.{line}")
    body = [*netlist.lines(BY_NAME[name], "x"), *netlist.lines(BY_NAME["clamp"], "clamp"), *source]
    body += [f"vrail rail.n 0 {rail_v}", "rrail rail.n 3v3 0.3", "crail 3v3 0 10u", "v5v 5v 0 5", "rpin x.pin 0 10meg"]
    if name in DIFFERENCES:
        body += ["rsignal x.in 0 1", "rground x.sense 0 1"]
    if name in RESISTIVE:
        body += netlist.lines(BY_NAME["reference"], "ref")
    result = spice.transient(body, seconds, degc, seconds / 1000)
    steady = case in STEADY
    over = stress.overloads(result, BY_NAME[name], "x", steady)
    return result, over + stress.overloads(result, BY_NAME["clamp"], "clamp", steady)


def cases_of(name: str) -> list[str]:
    return [c for c in CASES if name not in RESISTIVE or c not in NOT_FOR_RESISTIVE]


@pytest.mark.parametrize("degc", [-40, pytest.param(85, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name, line", LINES)
def test_input_survives(name, line, degc):
    for case in cases_of(name):
        result, over = attack(name, line, case, degc)
        assert over == [], case
        inside, low, high = ("v(x.n)", *limits.GATE_V) if name == "tach_logic" else ("v(x.pin)", *limits.PIN_V)
        assert low < result[inside].min() and result[inside].max() < high, case
        assert result["i(vrail)"].max() * 1000 < limits.RAIL_BACK_MA, case


@pytest.mark.parametrize("name, line", [pair for pair in LINES if pair[0] != "tach_logic"])
def test_unpowered_board_survives(name, line):
    """The sensor stands in the car's own supply while the logger is off: R3 limits what enters the pin."""
    for case in ("battery", "reversed battery", "load dump 35 V"):
        result, over = attack(name, line, case, 25, rail_v=0.0)
        assert over == [], case
        into_ma = np.max(np.maximum(np.abs(result["v(x.pin)"]) - 0.3, 0)) / 1000 * 1000
        assert into_ma < limits.PIN_OFF_MA, case


def test_the_attack_is_real():
    """Without the upper clamp the same simulation breaks the pin's rating: the test can fail."""
    block = BY_NAME["analog_5v"]
    source, seconds = CASES["battery"]("x.in")
    body = [line for line in netlist.lines(block, "x") if not line.startswith("qx.q1")]
    body += [*netlist.lines(BY_NAME["clamp"], "clamp"), *source, "vrail 3v3 0 3.3"]
    assert spice.transient(body, seconds)["v(x.pin)"].max() > limits.PIN_V[1]


@pytest.mark.parametrize("degc, volts, least_mv", [(-40, 18.0, -20), (25, 18.0, -20), (85, 17.0, -10)])
def test_battery_reads_true(degc, volts, least_mv):
    """README's range: to 18 V, hot to 17 V, where the clamp begins to draw."""
    body = [
        "vrail 3v3 0 3.3",
        *netlist.lines(BY_NAME["clamp"], "clamp"),
        *netlist.lines(BY_NAME["analog_battery"], "x"),
    ]
    pin = spice.run(netlist.deck("battery", [*body, f"vin x.in 0 {volts}", f".options temp={degc}", ".op"]))["v(x.pin)"]
    assert least_mv < 1e3 * (pin[0] * 5.7 - volts) < 5


@pytest.mark.parametrize("capacitor, counts", [("220n", 0.5), ("10n", 8.0)])
def test_an_external_converter_s_input(capacitor, counts):
    """Its 20 pF, filled by another channel at the far end of the range, take charge within 1.5 us: less than half a
    count of 4096 off with 220 nF at its input, eight with the 10 nF that do for the board's own."""
    body = ["vrail 3v3 0 3.3", *netlist.lines(BY_NAME["clamp"], "clamp")]
    body += netlist.lines(BY_NAME["analog_5v"], "x", values={"C2": capacitor})
    body += ["vin x.in 0 0.2", "csample s 0 20p ic=3.2", "s1 x.pin s take 0 takes", ".ic v(s)=3.2"]
    body += ["vtake take 0 pwl(0 0 1u 0 1.01u 1)", ".model takes SW(vt=0.5 ron=1k roff=1g)"]
    result = spice.transient(body, 3e-6, 25, 1e-8)
    off = np.interp(2.5e-6, result["time"], result["v(s)"]) - result["v(x.pin)"][0]
    assert counts / 2 < off / (3.3 / 4096) < counts if capacitor == "10n" else off / (3.3 / 4096) < counts


@pytest.mark.parametrize("line", ["w", "wr", "la", "lk"])
@pytest.mark.parametrize("lit_v", [0.0, 3.3])
def test_button_and_lamp_wires_survive(line, lit_v):
    """Wires to the dash touch ground, battery or 24 V (the button's own also -14 V); the pins behind them and all parts
    live."""
    for case in STEADY if line == "w" else ("ground", "battery", "jump start"):
        source, seconds = CASES[case](f"x.{line}")
        body = [*netlist.lines(BY_NAME["button_lamp"], "x"), *source, "vrail 3v3 0 3.3", "v5v 5v 0 5"]
        result = spice.transient([*body, f"vlamp x.lamp 0 {lit_v}"], seconds, 25, seconds / 1000)
        assert stress.overloads(result, BY_NAME["button_lamp"], "x", steady=True) == [], case
        assert limits.GATE_V[0] < result["v(x.b)"].min() and result["v(x.b)"].max() < limits.GATE_V[1], case
        assert np.abs(result["i(vlamp)"]).max() < 4e-3, case  # least drive strength of the boards' pins
        assert max(result["i(vrail)"].max(), result["i(v5v)"].max()) * 1000 < limits.RAIL_BACK_MA, case


@pytest.mark.parametrize("pullup_ohm", [1e9, 45e3])
def test_button_levels(pullup_ohm):
    """Pressed is below 0.8 V and open above 2.0 V, with the pin's own pull-up and without."""
    for button_ohm, low, high in ((0.1, -0.1, 0.8), (1e8, 2.0, 3.4)):
        body = [*netlist.lines(BY_NAME["button_lamp"], "x", values={"S1": str(button_ohm)}), "v5v 5v 0 5"]
        body += ["vrail 3v3 0 3.3", f"rpull 3v3 x.b {pullup_ohm}", "vlamp x.lamp 0 0", ".op"]
        assert low < spice.run(netlist.deck("button", body))["v(x.b)"][0] < high
