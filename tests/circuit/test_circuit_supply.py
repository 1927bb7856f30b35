"""The supply in a car: nothing is overloaded, the board's volts stay in bounds, and it starts and rides as README
says."""

import re
from functools import cache

import pulses
import pytest
import spice

from hardware.circuit import limits, netlist, stress
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
    "cranking 4.5 V": lambda net: pulses.cranking(net, 4.5, 6.5),
}
STEADY = ("reverse -14 V", "jump start 24 V")
# Weaker than another one of its kind
WEAKER = ("pulse 1, 2004", "pulse 2a, 2004", "load dump 87 V")


@cache
def supply(case: str, full: bool, degc: float = 25) -> tuple[dict, list[str]]:
    """(simulated vectors, overloads) with the board drawing limits.BOARD_MA."""
    source, seconds = CASES[case]("sup.feed")
    source = [*source, "rlug sup.lug 0 0.01"]
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


@pytest.mark.parametrize("full", [pytest.param(False, marks=pytest.mark.slow), True], ids=["minimum", "full"])
@pytest.mark.parametrize(
    "case", [pytest.param(case, marks=pytest.mark.slow if case in WEAKER else ()) for case in CASES]
)
def test_nothing_is_overloaded(case, full):
    result, over = supply(case, full)
    assert over == []
    assert result["v(sup.vboard)"].max() < limits.BOARD_V
    assert result["v(sup.vboard)"].min() > -0.3
    assert result["v(vs)"].max() < 35.0


@pytest.mark.parametrize("degc", [pytest.param(-40, marks=pytest.mark.slow), 85])
@pytest.mark.parametrize("case", ["pulse 2a", "load dump 101 V", "jump start 24 V"])
def test_cold_and_hot(case, degc):
    result, over = supply(case, True, degc)
    assert over == []
    assert result["v(sup.vboard)"].max() < limits.BOARD_V


@pytest.mark.parametrize("case, board", [("load dump 35 V", "esp32"), ("load dump 101 V", "rp2")])
def test_the_reservoir_carries_it_through(case, board):
    result, _ = supply(case, True)
    assert result["v(sup.vboard)"].min() > limits.BOARD_LEAST_V[board]


def lowest_v(low_v: float, hold_v: float, full: bool, threshold_v: float, degc: float) -> float:
    """Least volts at the board while the engine is cranked, with Q1's threshold there."""
    source, seconds = pulses.cranking("sup.feed", low_v, hold_v, "sup.lug")
    blocks = {"sup": "supply"} | ({"hold": "hold_up"} if full else {})
    body = [line for instance, name in blocks.items() for line in netlist.lines(BY_NAME[name], instance)]
    model = re.search(r"^\.model MP200 (.*)$", netlist.MODELS.read_text(), re.M)[1]
    body = [line.replace("MP200", "MPTEST") for line in body]
    body.append(".model MPTEST " + re.sub(r"vto=\S+", f"vto={threshold_v}", model))
    body += [*source, f"rboard sup.vboard 0 {4.7 / limits.BOARD_MA * 1000:g}", "vrail 3v3 0 3.3"]
    return float(spice.transient(body, seconds, degc, seconds / 2000)["v(sup.vboard)"].min())


CRANKING = {
    "8 V": (8.0, 9.5),
    "6 V": (6.0, 6.5),
    "4.5 V": (4.5, 6.5),
}  # low for 15 ms, then the middle of 2 V of ripple


@pytest.mark.parametrize("threshold_v", [pytest.param(-2.0, marks=pytest.mark.slow), -4.2])
@pytest.mark.parametrize("degc", [-40, pytest.param(85, marks=pytest.mark.slow)])
@pytest.mark.parametrize("case", CRANKING)
def test_cranking(case, degc, threshold_v):
    """README's claim: every build runs on at 8 V; at 6 and 4.5 V an RP2040 board does, without the reservoir too."""
    board = "esp32" if case == "8 V" else "rp2"
    assert lowest_v(*CRANKING[case], False, threshold_v, degc) > limits.BOARD_LEAST_V[board]


@pytest.mark.parametrize("full", [False, True])
def test_cranking_restarts_an_esp32(full):
    """Said in README: at the bottom of the ripple around 6.5 V nothing is left for it, reservoir or not."""
    assert lowest_v(6.0, 6.5, full, -3.3, 25) < limits.BOARD_LEAST_V["esp32"]


def test_cranking_has_the_whole_ripple():
    """As the docstring of `pulses.cranking` says: 2 V peak to peak."""
    lines, _ = pulses.cranking("x", 6.0, 6.5)
    volts = [float(v) for v in re.findall(r"[\d.]+ ([\d.]+)", lines[0].split("pwl(")[1])]
    assert max(volts[5:-2]) - min(volts[5:-2]) == 2.0


@pytest.mark.parametrize("share, lowest, highest", [(0.95, 28.0, 28.5), (1.0, 29.0, 30.0), (1.05, 30.5, 31.5)])
def test_cut_off(share, lowest, highest):
    """Said in README and measured in the bring-up: about 30 V, 28 to 31 with the 5 % of P-D2."""

    def behind_q1_v(feed_v: float) -> float:
        body = [f"vfeed p.feed 0 {feed_v}", "rground p.lug 0 0.01", "rmeter vs 0 1e7", "rboard p.vboard 0 47"]
        body += [*netlist.lines(BY_NAME["supply"], "p"), ".options savecurrents gmin=1e-12 rshunt=1e12", ".op"]
        deck = netlist.deck("cut-off", body)
        assert "bv=27 " in deck
        return float(spice.run(deck.replace("bv=27 ", f"bv={27 * share:g} "))["v(vs)"][0])

    assert behind_q1_v(lowest) > lowest - 1.5
    assert behind_q1_v(highest) < 5.0


@pytest.mark.parametrize("case", ["pulse 1", "pulse 3a", "reverse -14 V"])
def test_power_fail_transistor_meets_no_reverse(case):
    """H-D2 carries what is negative past the base, which bears 6 V backwards."""
    result, over = supply(case, True)
    assert over == []
    assert result["v(hold.s)"].min() > -1.2


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
    """Feed pulled after 1 s of charge: the board lives for 0.3 s more, and the power-fail signal rises at once."""
    body = netlist.lines(BY_NAME["supply"], "sup") + netlist.lines(BY_NAME["hold_up"], "hold")
    body += [
        "vfeed feed.n 0 12.5",
        "s1 feed.n sup.feed on 0 plug",
        "von on 0 pwl(0 1 1.0 1 1.0001 0)",
        "vrail 3v3 0 3.3",
    ]
    body += [".model plug SW(vt=0.5 ron=0.01 roff=10meg)", f"rboard sup.vboard 0 {4.7 / limits.BOARD_MA * 1000:g}"]
    result = spice.transient(body, 2.0, 25, 1e-3)
    time, board, signal = result["time"] - 1.0, result["v(sup.vboard)"], result["v(hold.pf)"]
    lived_s = {name: time[(time > 0) & (board < least)][0] for name, least in limits.BOARD_LEAST_V.items()}
    assert lived_s["esp32"] == pytest.approx(0.31, abs=0.02) and lived_s["rp2"] == pytest.approx(0.52, abs=0.02)
    assert signal[time < -0.01].max() < 0.2 and signal[time > 0.01].min() > 3.0
