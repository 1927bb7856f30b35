"""The supply in a car: nothing is overloaded, the board's volts stay in bounds, and it starts and rides as README says."""

import pulses
import pytest
import spice
import stress

from hardware.circuit import limits, netlist
from hardware.circuit.blocks import BY_NAME

pytestmark = spice.needs_ngspice

CASES = {
    "pulse 1": pulses.pulse_1,
    "pulse 1, 2004": lambda net: pulses.pulse_1(net, -100.0),
    "pulse 2a": pulses.pulse_2a,
    "pulse 2a, 2004": lambda net: pulses.pulse_2a(net, 50.0),
    "pulse 3a": pulses.pulse_3a,
    "pulse 3b": pulses.pulse_3b,
    "load dump 101 V": pulses.load_dump,
    "load dump 87 V": lambda net: pulses.load_dump(net, 87.0),
    "load dump 35 V": pulses.clamped_load_dump,
    "reverse -14 V": lambda net: pulses.steady(net, -14.0),
    "jump start 24 V": lambda net: pulses.steady(net, 24.0),
    "cranking 8 V": lambda net: pulses.cranking(net, 8.0, 9.5),
    "cranking 6 V": lambda net: pulses.cranking(net, 6.0, 6.5),
    "cranking 4.5 V": lambda net: pulses.cranking(net, 4.5, 6.5),
}
STEADY = ("reverse -14 V", "jump start 24 V")


def supply(case: str, full: bool, degc: float = 25) -> tuple[dict, list[str]]:
    """(simulated vectors, overloads) with the board drawing limits.BOARD_MA."""
    source, seconds = CASES[case]("sup.feed")
    blocks = {"sup": "supply"} | ({"hold": "hold_up", "sensors": "sensor_supply"} if full else {})
    body = [line for instance, name in blocks.items() for line in netlist.lines(BY_NAME[name], instance)]
    body += [*source, f"rboard sup.vboard 0 {4.7 / limits.BOARD_MA * 1000:g}", "vrail 3v3 0 3.3"]
    if full:
        body.append("rsensor sensors.out 0 100")
    result = spice.transient(body, seconds, degc, seconds / 4000)
    over = []
    for instance, name in blocks.items():
        over += stress.overloads(result, BY_NAME[name], instance, case in STEADY)
    return result, over


@pytest.mark.parametrize("full", [False, True], ids=["minimum", "full"])
@pytest.mark.parametrize("case", CASES)
def test_nothing_is_overloaded(case, full):
    result, over = supply(case, full)
    assert over == []
    assert result["v(sup.vboard)"].max() < limits.BOARD_V
    assert result["v(sup.vboard)"].min() > -0.3
    assert result["v(vs)"].max() < 35.0


@pytest.mark.parametrize("degc", [-40, 85])
@pytest.mark.parametrize("case", ["pulse 2a", "load dump 101 V", "jump start 24 V"])
def test_cold_and_hot(case, degc):
    result, over = supply(case, True, degc)
    assert over == []
    assert result["v(sup.vboard)"].max() < limits.BOARD_V


@pytest.mark.parametrize(
    "case, full, least_v",
    [
        ("cranking 8 V", False, limits.BOARD_LEAST_V["esp32"]),
        ("cranking 6 V", False, limits.BOARD_LEAST_V["esp32"]),
        ("cranking 4.5 V", False, limits.BOARD_LEAST_V["rp2"]),
        ("cranking 4.5 V", True, limits.BOARD_LEAST_V["esp32"]),
        ("load dump 35 V", True, limits.BOARD_LEAST_V["esp32"]),
        ("load dump 101 V", True, limits.BOARD_LEAST_V["rp2"]),
    ],
)
def test_runs_through(case, full, least_v):
    result, _ = supply(case, full)
    assert result["v(sup.vboard)"].min() > least_v


def test_a_load_dump_restarts_the_minimum_build():
    """Said in README: without the reservoir the supply cuts itself off until it is over."""
    result, _ = supply("load dump 87 V", False)
    assert result["v(sup.vboard)"].min() < 0.5


@pytest.mark.parametrize("volts", [14.4, 24.0, 0.0])
def test_sensor_supply_shorted(volts):
    """Its line touches the battery, 24 V or ground for 5 s: nothing is overloaded, the board does not notice."""
    body = netlist.lines(BY_NAME["supply"], "sup") + netlist.lines(BY_NAME["sensor_supply"], "sensors")
    body += ["vfeed sup.feed 0 14.4", f"rboard sup.vboard 0 {4.7 / limits.BOARD_MA * 1000:g}", "vrail 3v3 0 3.3"]
    body += [f"vshort short.n 0 {volts}", "s1 sensors.out short.n on 0 touch", "von on 0 pwl(0 0 0.1 0 0.101 1)"]
    body += [".model touch SW(vt=0.5 ron=0.05 roff=100meg)"]
    result = spice.transient(body, 5.0, 25, 1e-3)
    line = BY_NAME["sensor_supply"]
    assert stress.overloads(result, line, "sensors", steady=True) == []
    assert result["v(sensors.s5)"].max() < 8.0
    assert result["v(sup.vboard)"].min() > 4.6


def test_reservoir_holds_and_says_so():
    """Feed pulled at 0.1 s: the board lives for 0.29 s more, and the power-fail signal rises at once."""
    body = netlist.lines(BY_NAME["supply"], "sup") + netlist.lines(BY_NAME["hold_up"], "hold")
    body += [
        "vfeed feed.n 0 12.5",
        "s1 feed.n sup.feed on 0 plug",
        "von on 0 pwl(0 1 0.1 1 0.1001 0)",
        "vrail 3v3 0 3.3",
    ]
    body += [".model plug SW(vt=0.5 ron=0.01 roff=10meg)", f"rboard sup.vboard 0 {4.7 / limits.BOARD_MA * 1000:g}"]
    result = spice.transient(body, 0.6, 25, 5e-4)
    time, board, signal = result["time"], result["v(sup.vboard)"], result["v(hold.pf)"]
    assert time[(time > 0.1) & (board < limits.BOARD_LEAST_V["esp32"])][0] > 0.39
    assert signal[time < 0.09].max() < 0.2 and signal[time > 0.11].min() > 3.0
