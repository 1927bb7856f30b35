"""The car's bus and the block that listens to it: it hears, it cannot drive, and no fault of it stops the car's units.

Transceiver: TJA1051 data sheet, NXP, rev. 7 (2015), tables 7 and 8. Controller: MCP2518FD data sheet DS20006027, and
RP2040 data sheet, inputs and outputs (levels from memory). Bus: ISO 11898-2 (from memory): a receiver takes 0.9 V for
dominant and 0.5 V for recessive, with lines between -2 and 7 V.
"""

import runpy

import numpy as np
import pulses
import pytest
import spice

from hardware.circuit import build, builds, netlist, stress
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.stock import STOCK
from shared_math import bus as bus_settings
from shared_math.config import check_bus

BLOCK = BY_NAME["can"]
DOMINANT_V, RECESSIVE_V, LINES_V = 0.9, 0.5, (-2, 7)
BUS_PIN_V = 58.0  # table of limiting values
INPUT_HIGH, INPUT_LOW = 0.7, 0.3  # of the supply: transceiver and controller alike
LINKS = {"R3": "0.01", "R4": "0.01"}
CLOSED = {"JP1": "0.01", "JP2": "0.01"}
CAR = ["rends h l 60", "vmid mid 0 2.5", "rh h mid 2.5k", "rl l mid 2.5k", "vc5 c5 0 5", "vhot hot 0 14.4"]
DRIVEN = ["rdrive c5 h 40", "rsink l 0 40"]
ON = ["v5v 5v 0 5", "vrail 3v3 0 3.3"]
OFF = ["v5v 5v 0 0", "vrail 3v3 0 0"]


def block(values=None, parameters=None) -> list[str]:
    """The block on the car's bus, its SPI at rest."""
    parts = netlist.lines(BLOCK, "x", values, parameters, {"H": "h", "L": "l", "G": "carground"})
    return [*parts, "rcarground carground 0 0.05", "rmiso x.miso 0 1meg"]


def still(*body: str) -> dict:
    return spice.run(netlist.deck("bus", [*CAR, *body, ".options savecurrents gmin=1e-12", ".op"]))


def between(result: dict) -> float:
    return float(result["v(h)"][0] - result["v(l)"][0])


FAULTS = {
    "sound": [],
    "high on ground": ["rf x.canh 0 0.01"],
    "high on 12 V": ["rf x.canh hot 0.01"],
    "low on ground": ["rf x.canl 0 0.01"],
    "low on 12 V": ["rf x.canl hot 0.01"],
    "both on 12 V": ["rf x.canh hot 0.01", "rg x.canl hot 0.01"],
    "on each other": ["rf x.canh x.canl 0.01"],
    "transceiver short, or dominant for good": ["rf x.canh c5 0.01", "rg x.canl 0 0.01"],
    "bus ground on 12 V": ["rf x.bg hot 0.01"],
    "TXD on ground": ["rf x.d 0 0.01"],
    "S on ground": ["rf x.s 0 0.01"],
    "RXD on 5 V": ["rf x.rx c5 10"],
}


@spice.needs_ngspice
@pytest.mark.parametrize("supply", [ON, OFF, []], ids=["on", "off", "supply wires open"])
@pytest.mark.parametrize("fault", FAULTS)
def test_the_bus_goes_on(fault, supply):
    """Whatever one wire or leg touches: other units still drive it and still let go of it."""
    driven = still(*supply, *block(), *DRIVEN, *FAULTS[fault])
    calm = still(*supply, *block(), *FAULTS[fault])
    assert between(driven) > 2 * DOMINANT_V
    assert abs(between(calm)) < 0.3 * RECESSIVE_V
    for result in (driven, calm):
        assert all(LINES_V[0] < result[f"v({line})"][0] < LINES_V[1] for line in "hl")


@spice.needs_ngspice
@pytest.mark.parametrize("values", [{}, LINKS], ids=["as drawn", "resistors bridged"])
def test_without_supply_the_bus_is_not_loaded(values):
    """Logger off, its rails at ground or floating: below 12 uA out of a line at 5 V (data sheet: 5 uA a line)."""
    for supply in (OFF, []):
        result = still(*supply, *block(values), "rlift h c5 1", "rlift2 l c5 1", ".options reltol=1e-7")
        for ref in ("r3", "r4"):
            assert abs(result[f"i(@rx.{ref}[i])"][0]) < 12e-6, ref


@spice.needs_ngspice
@pytest.mark.parametrize("rail_v", [3.0, 3.3, 3.6])
@pytest.mark.parametrize("state", ["firmware astray", "controller without supply", "controller pulled out"])
def test_it_is_silent_by_default(rail_v, state):
    """Both jumpers open: S and D are high and the bus is recessive, whatever the controller's pin does or if it
    floats."""
    rails = ["v5v 5v 0 5", f"vrail 3v3 0 {rail_v}"]
    parts = block({}, {"U2": "sends=1"} if state == "firmware astray" else {})
    if state != "firmware astray":
        parts = [line for line in parts if not line.startswith("xx.u2 ")]
    if state == "controller without supply":
        parts.append("rtx x.tx 0 1k")
    result = still(*rails, *parts)
    assert abs(between(result)) < 0.05
    for node in ("x.d", "x.s"):
        assert result[f"v({node})"][0] > (INPUT_HIGH + 0.1) * rail_v


@spice.needs_ngspice
@pytest.mark.parametrize(
    "closed, drives", [({}, False), ({"JP1": "0.01"}, False), ({"JP2": "0.01"}, False), (CLOSED, True)]
)
def test_both_jumpers_are_needed_to_drive(closed, drives):
    """A controller that sends for good, and no resistors in the plug: one jumper alone does nothing."""
    result = still(*ON, *block({**closed, **LINKS}, {"U2": "sends=1", "U1": "timeout=1e6"}))
    assert (between(result) > 1.5) == drives, between(result)
    assert drives or abs(between(result)) < 0.05


@spice.needs_ngspice
def test_with_its_resistors_it_could_not_drive_either():
    result = still(*ON, *block(CLOSED, {"U2": "sends=1", "U1": "timeout=1e6"}))
    assert abs(between(result)) < 0.3 * RECESSIVE_V


@spice.needs_ngspice
@pytest.mark.parametrize("timeout_s", [0.3e-3, 5e-3])
def test_dominant_for_good_ends(timeout_s):
    """Everything set up for sending and a firmware that hangs with TXCAN low: the transceiver lets go (0.3 to 5 ms)."""
    parts = block({**CLOSED, **LINKS}, {"U2": "sends={v(gate)}", "U1": f"timeout={timeout_s}"})
    parts = [line.replace("sends={v(gate)}", "sends=0") for line in parts]
    body = [*CAR, *ON, *parts, "shang x.tx 0 gate 0 hang", ".model hang SW(vt=0.5 ron=1 roff=1g)"]
    body.append("vgate gate 0 pulse(0 1 1m 1u 1u 1 2)")
    result = spice.transient(body, 10e-3, 25, 1e-5)
    volts = result["v(h)"] - result["v(l)"]
    at = np.interp([0.9e-3, 1e-3 + 0.8 * timeout_s, 1e-3 + 1.3 * timeout_s, 9.9e-3], result["time"], volts)
    assert abs(at[0]) < 0.05 and at[1] > 1.5 and abs(at[2]) < 0.05 and abs(at[3]) < 0.05


@spice.needs_ngspice
@pytest.mark.parametrize("fault", ["high on ground", "high on 12 V", "low on 12 V", "on each other"])
def test_with_the_resistors_bridged_a_chafed_cable_stops_the_bus(fault):
    """Why "ask" is not the default: README says so, and so it is."""
    driven = still(*ON, *block(LINKS), *DRIVEN, *FAULTS[fault])
    calm = still(*ON, *block(LINKS), *FAULTS[fault])
    lines = [result[f"v({line})"][0] for result in (driven, calm) for line in "hl"]
    works = between(driven) > DOMINANT_V and abs(between(calm)) < RECESSIVE_V
    assert not (works and LINES_V[0] < min(lines) and max(lines) < LINES_V[1])


@spice.needs_ngspice
@pytest.mark.parametrize("input_ohm", [9e3, 15e3, 28e3])
@pytest.mark.parametrize("source_ohm", [35, 60])
def test_the_bus_is_heard(input_ohm, source_ohm):
    """500 kbit/s through 4.7 kohm into the cable's 100 pF: 1.7 to 2.3 V on the bus; at three quarters of a bit RXD is
    a level that the controller takes for what the bus says."""
    body = [*CAR, *ON, *block({}, {"U1": f"rin={input_ohm}"}), "ch x.canh 0 100p", "cl x.canl 0 100p"]
    body += ["vgate gate 0 pulse(0 1 1u 20n 20n 2u 4u)", f".model drives SW(vt=0.5 ron={source_ohm} roff=10meg)"]
    body += ["sh c5 h gate 0 drives", "sl l 0 gate 0 drives"]
    result = spice.transient(body, 9e-6, 25, 5e-9)
    low, high = np.interp([6.5e-6, 8.5e-6], result["time"], result["v(x.rx)"])
    assert low < INPUT_LOW * 3.3 and high > INPUT_HIGH * 3.3
    heard = result["v(x.canh)"] - result["v(x.canl)"]
    assert np.interp(6.5e-6, result["time"], heard) > DOMINANT_V
    assert np.interp(8.5e-6, result["time"], heard) < RECESSIVE_V


@spice.needs_ngspice
def test_the_select_line_is_high_while_the_board_starts():
    """Against the RP2040's pull-down at reset (50 kohm at least): converters on the SPI are read."""
    result = still(*ON, *block(), "rpull x.cs 0 50k")
    assert result["v(x.cs)"][0] > INPUT_HIGH * 3.3


def test_outputs_reach_what_inputs_want():
    """RP2040 at 3.3 V: high 2.62 V at least, low 0.5 V at most, takes 2.0 V for high and 0.8 V for low; the
    controller gives VDD - 0.7 V and 0.6 V at most (all from memory)."""
    for rail_v in (3.14, 3.3, 3.46):
        assert 2.62 > INPUT_HIGH * rail_v and 0.5 < INPUT_LOW * rail_v
        assert rail_v - 0.7 > 2.0 and 0.6 < 0.8


@spice.needs_ngspice
@pytest.mark.parametrize("line", ["canh", "canl", "bg"])
@pytest.mark.parametrize("supply", [ON, pytest.param(OFF, marks=pytest.mark.slow)], ids=["on", "off"])
def test_its_wires_may_touch_battery(line, supply):
    """Battery, 24 V, -14 V and bursts: bus pins within 58 V, no part overloaded, nothing pushed into the rails."""
    cases = {
        "battery": pulses.steady(f"x.{line}", 14.4),
        "jump start": pulses.steady(f"x.{line}", 24.0),
        "reversed": pulses.steady(f"x.{line}", -14.0),
        "pulse 3a": pulses.pulse_3a(f"x.{line}"),
        "pulse 3b": pulses.pulse_3b(f"x.{line}"),
    }
    for name, (source, seconds) in cases.items():
        result = spice.transient([*CAR, *supply, *block(), *source], seconds, 25, seconds / 250)
        result |= {f"v(x.{end})": result[f"v({node})"] for end, node in (("h", "h"), ("l", "l"), ("g", "carground"))}
        assert stress.overloads(result, BLOCK, "x", steady=not name.startswith("pulse")) == [], name
        for node in ("x.canh", "x.canl"):
            assert np.abs(result[f"v({node})"]).max() < BUS_PIN_V, name
        for node in ("x.rx", "x.d", "x.s"):
            assert -0.5 < result[f"v({node})"].min() and result[f"v({node})"].max() < 3.8, (name, node)


def test_the_transceiver_is_what_the_circuit_relies_on():
    stock = STOCK["can_phy"]
    assert stock.volts == BUS_PIN_V >= 36
    assert all(words in stock.text for words in ("silent mode", "dominant time-out", "3.3 V"))
    assert not any(part.value == "120" for part in BLOCK.parts)


@pytest.mark.parametrize("name, chip, load", [("can", "mcp2518fd", "15p"), ("can_2515", "mcp2515", "22p")])
def test_the_controllers_are_the_firmware_s(name, chip, load):
    """Each chip that the configuration knows, with a crystal that it knows, which the drawing names if it is not the
    configuration's own."""
    crystal = BY_NAME[name].part("Y1")
    mhz = int(crystal.value.removesuffix("M"))
    assert chip in check_bus.BUS["chip"][1] and mhz in check_bus.BUS["crystal_mhz"][1]
    assert mhz == bus_settings.DEFAULTS["crystal_mhz"] or f'"crystal_mhz": {mhz}' in BY_NAME[name].note
    assert {BY_NAME[name].value(ref) for ref in ("C3", "C4")} == {float(load[:-1]) * 1e-12}
    drawn = {net for net, *_ in BY_NAME[name].ports} & {"SCK", "MOSI", "MISO", "CS", "INT"}
    firmware = runpy.run_path(str(build.ROOT / "firmware" / "boards" / "pin_table.py"))["RP2"]
    assert drawn == {key.upper() for key in (*firmware["converter_spi"], *firmware["bus"])} - {"ID"}


def test_both_blocks_have_one_bus_side():
    for part in BLOCK.parts:
        other = BY_NAME["can_2515"].part(part.ref)
        if part.ref not in ("U2", "Y1", "C3", "C4"):
            assert part == other


def test_it_goes_to_the_diagnostic_socket():
    """SAE J1962 (from memory): CAN high at pin 6, low at 14, grounds at 4 and 5; the battery's pin 16 stays free."""
    ends = [end for end in builds.FULL.terminals.values() if end.device == "diagnostic socket"]
    assert [end.pin.split()[1] for end in ends] == ["6", "14", "5"]
    assert all("16" not in end.pin for end in ends)
    for terminal in ("T23", "T24", "T25"):
        assert [use.prefix for use, _ in builds.FULL.far_parts(terminal)] == ["K"], terminal
