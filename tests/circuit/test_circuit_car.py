"""What the car notices of the logger's wires: coil, engine computer and controller go on, whatever a wire touches."""

import numpy as np
import pytest
import spice

from hardware.circuit import boards, builds, car, failure_table, failures, faults, netlist
from hardware.circuit.blocks import BY_NAME

pytestmark = spice.needs_ngspice

COIL = [f"vbat bat bm {car.BATTERY_V}", "rback bm 0 0.005", *car.COIL]
TERMINAL = {"tach_opto": "z", "tach_coil": "m"}


def coil_run(name: str, wire: str, sparks: bool) -> dict:
    """The coil with that tach block; wire: node that the wire touches ("bm", "bat"), or "" for a sound one."""
    body = [*COIL, *car.charge(sparks), *netlist.lines(BY_NAME[name], "x"), "rjoin car_coil x.in 0.001"]
    body += ["vrail 3v3 0 3.3"] + (["rblock x.gin bm 0.01"] if name == "tach_opto" else [])
    if wire:
        body.append(f"rtouch x.{TERMINAL[name]} {wire} 0.01")
    return spice.transient(body, 14e-3, 25, 1e-5)


@pytest.mark.parametrize("name, most_ma", [("tach_opto", 14.0), ("tach_coil", 3.0)])
@pytest.mark.parametrize("wire", ["", "bm", "bat"])
def test_a_chafed_coil_wire_leaves_the_ignition_alone(name, wire, most_ma):
    """Milliamperes in the wire, the coil's full volts, and no current through the coil while the driver is off."""
    result = coil_run(name, wire, True)
    in_wire = np.abs(result["v(car_coil)"] - result[f"v(x.{TERMINAL[name]})"]) / sum(
        BY_NAME[name].value(part.ref) for part in BY_NAME[name].parts if part.place == "at the coil, within 5 cm"
    )
    assert 1e3 * in_wire.max() < most_ma
    assert result["v(car_coil)"].max() > 395
    at_rest = coil_run(name, wire, False)
    assert np.abs(at_rest["i(vcoil)"][-1]) < 1e-3


def test_a_sound_coil_wire_carries_eleven_milliamperes():
    """README's figure."""
    result = coil_run("tach_opto", "", True)
    in_wire = (result["v(car_coil)"] - result["v(x.z)"]) / 30e3
    assert 1e3 * in_wire.max() == pytest.approx(11.0, abs=0.5)


def test_without_the_resistors_it_would_be_the_end_of_the_coil():
    """Why they are at the coil: a bare wire on ground draws what the coil's half an ohm lets through, for good."""
    body = [*COIL, *car.charge(False), "rtouch car_coil bm 0.07"]
    assert spice.transient(body, 50e-3, 25, 1e-4)["i(vcoil)"][-1] > 20


THROTTLE_OHM = 5000.0


def throttle_v(share: float, block: str | None, rail_v: float, touch: str = "") -> float:
    """Volts of a 5 kohm throttle sensor at that share of its travel, with that input on it."""
    body = ["vref ref5 0 5", f"rup ref5 pot {THROTTLE_OHM * (1 - share)}", f"rdown pot 0 {THROTTLE_OHM * share}"]
    body += [f"vrail 3v3 0 {rail_v}", "vhot hot 0 14.4"]
    if block:
        body += [*netlist.lines(BY_NAME[block], "x"), *netlist.lines(BY_NAME["clamp"], "clamp"), "rjoin pot x.in 0.01"]
    if block == "sensor_tap":
        body.append("rground x.sense 0 0.01")
    if touch:
        body.append(f"rtouch x.p1 {touch} 0.01")
    return spice.run(netlist.deck("throttle", [*body, ".op"]))["v(pot)"][0]


@pytest.mark.parametrize("rail_v", [3.3, 0.0])
def test_a_tap_does_not_load_the_sensor(rail_v):
    """Below 5 mV anywhere on its way, with the logger on and off; the plain input would take 171 and 293 mV."""
    shifts, plain = [], []
    for share in (0.1, 0.3, 0.5, 0.65, 0.8):
        alone = throttle_v(share, None, 3.3)
        shifts.append(1e3 * abs(throttle_v(share, "sensor_tap", rail_v) - alone))
        plain.append(1e3 * abs(throttle_v(share, "analog_5v", rail_v) - alone))
    assert max(shifts) < 5.0
    assert max(plain) > 150


@pytest.mark.parametrize("touch, most_mv", [("0", 20.0), ("hot", 85.0)])
@pytest.mark.parametrize("rail_v", [3.3, 0.0])
def test_a_tap_s_wire_may_touch_ground_or_12_v(touch, most_mv, rail_v):
    """The signal moves by less than a fiftieth of its range: no engine computer calls that a fault, or stops for it."""
    for share in (0.1, 0.5, 0.8):
        assert 1e3 * abs(throttle_v(share, "sensor_tap", rail_v, touch) - throttle_v(share, None, 3.3)) < most_mv


def test_a_tap_is_a_hundred_kilohms_and_more_than_a_megohm():
    block = BY_NAME["sensor_tap"]
    for at_splice, inside in (("R1", "R2"), ("R4", "R5")):
        assert block.part(at_splice).place.startswith("at the splice")
        assert block.value(at_splice) >= 100e3 and block.value(at_splice) + block.value(inside) >= 1e6


@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_cores_cannot_be_swapped(each):
    """No two wires to one thing in the car have the same colour, and power and signal grounds never."""
    for device in {end.device for end in each.terminals.values() if end.device}:
        colours = [end.colour for end in each.terminals.values() if end.device == device]
        assert len(set(colours)) == len(colours), device


@pytest.mark.parametrize("each", builds.ALL, ids=lambda b: b.name)
def test_every_wire_is_limited_where_it_begins(each):
    """A fuse or resistor at the far end of each, but for those of the user's own sensor, button, lamp and screens,
    which end at nothing that can push current: their limits sit in the logger."""
    for terminal, end in each.terminals.items():
        assert end.own or each.far_parts(terminal), terminal


def loose_lug(each, board, t4_far_ohm: str) -> dict:
    """The whole build with the controller's ground lug off its bolt while 6 A of heater current flow."""
    bench = failures.Bench(each, board)
    deck = failures.deck(bench, faults.Fault("none", ""))
    for old, new in (
        ("rlug car_ground bm 0.005", "rlug car_ground bm 1meg"),
        ("iheat bat car_ground 2", "rheat bat car_ground 2.4"),
        ("ra0.r4 car_lambda_ground t4f 6.8k", f"ra0.r4 car_lambda_ground t4f {t4_far_ohm}"),
    ):
        assert old in deck
        deck = deck.replace(old, new)
    if t4_far_ohm != "6.8k":  # the circuit that was: T4 on the logger's ground, and that somewhere on the engine
        deck = deck.replace("rw.t4b t4m t4 ", "rw.t4b t4m bm ")
    return spice.run(deck)


@pytest.mark.parametrize("each, board", [(builds.MINIMUM, boards.RP2), (builds.FULL, boards.ESP32)])
def test_a_loose_lug_sends_no_heater_current_through_the_cable(each, board):
    """At most milliamperes in every core; with T4 hard on ground it were amperes, and a hot core."""
    result = loose_lug(each, board, "6.8k")
    for terminal in each.terminals:
        amps = np.abs(result[f"i(@rw.{terminal.lower()}a[i])"][-1])
        assert amps < (0.4 if terminal in ("T1", "T2") else 0.01), terminal
    hard = np.abs(loose_lug(each, board, "0.01")["i(@rw.t4a[i])"][-1])
    assert hard > 4 and car.warming_k(hard, each.terminals["T4"].area_mm2) > failure_table.MOST_K
