"""Thermistor and Pt1000: what the converter makes of them against its own reference."""

import pytest
import spice

from hardware.circuit import netlist
from hardware.circuit.blocks import BY_NAME
from hardware.circuit.stock import STOCK
from shared_math import transfer

pytestmark = spice.needs_ngspice

PT1000_OHM = {
    -40.0: 842.707,
    0.0: 1000.0,
    25.0: 1097.347,
    100.0: 1385.055,
    200.0: 1758.560,
    400.0: 2470.92,
}  # IEC 60751
NOMINAL_V = 3.0  # reference_v in pin_table.py, supply_v in logger.json
REFERENCE_OHM = (
    200.0  # between 3V3 and the converter's supply on an RP2040 board (from memory of the board's data sheet)
)
REFERENCE_A = 150e-6  # what the converter draws there


def told_v(name: str, ohm: float, degc: float = 25, rail_v: float = 3.3, reference_v: float = 3.0) -> float:
    """Volts that the firmware computes with `reference_v` 3.0 from what the converter sees: a share of its
    reference."""
    body = [f"vrail 3v3 0 {rail_v}", *netlist.lines(BY_NAME["clamp"], "clamp"), *netlist.lines(BY_NAME[name], "x")]
    body += netlist.lines(BY_NAME["reference"], "ref", parameters={"D1": f"volts={reference_v}"})
    body += [f"rboard 3v3 ref {REFERENCE_OHM}", f"iboard ref 0 {REFERENCE_A}"]
    body += [f"rsensor x.in 0 {ohm}", f".options temp={degc}", ".op"]
    result = spice.run(netlist.deck("sensor", body))
    assert result["v(ref)"][0] == pytest.approx(reference_v, abs=0.006)  # it holds with this sensor on it
    return NOMINAL_V * result["v(x.pin)"][0] / result["v(ref)"][0]


def pt1000_degc(volts: float, supply_v: float = NOMINAL_V) -> float:
    channel = {"kind": "rtd", "r0_ohm": 1000, "pullup_ohm": BY_NAME["pt1000"].value("R1"), "supply_v": supply_v}
    return transfer.to_value(channel, volts)


@pytest.mark.parametrize("degc, rail_v, off", [(-40, 3.234, -1), (85, 3.366, 1)])
@pytest.mark.parametrize("sensor_degc", PT1000_OHM)
def test_pt1000_reads_true(sensor_degc, degc, rail_v, off):
    """Whatever the 3V3 is and the reference is off by: within 0.3 K with a pull-up that is exact."""
    reference_v = 3.0 * (1 + off * STOCK["ref_3v"].tolerance)
    volts = told_v("pt1000", PT1000_OHM[sensor_degc], degc, rail_v, reference_v)
    assert pt1000_degc(volts) == pytest.approx(sensor_degc, abs=0.3)


def test_what_the_pull_up_s_tolerance_makes():
    """README's figure: 0.1 % of 2.2 kohm are 0.26 K at 0 degC and 0.7 K at 400."""
    for sensor_degc, kelvin in ((0.0, 0.26), (400.0, 0.73)):
        ohm = PT1000_OHM[sensor_degc] * (1 + STOCK["r_precise"].tolerance)
        assert transfer.rtd_degc(ohm, 1000) - sensor_degc == pytest.approx(kelvin, abs=0.02)


def unreferenced_share(ohm: float, rail_v: float = 3.3, reference_v: float = 3.27) -> float:
    """Share of its reference that the converter sees with the pull-up on 3V3 and no reference fitted."""
    pull_up = BY_NAME["pt1000"].value("R1")
    return rail_v * ohm / (ohm + pull_up) / reference_v


def test_without_the_reference_it_would_be_degrees_off():
    """Why the block is there: the converter's supply stands 30 mV below the 3V3 that would feed the sensor."""
    assert pt1000_degc(3.3 * unreferenced_share(1000.0), 3.3) == pytest.approx(3.4, abs=0.5)
    assert pt1000_degc(3.3 * unreferenced_share(2470.92), 3.3) - 400 == pytest.approx(14.0, abs=1.0)


@pytest.mark.parametrize("sensor_degc", [0.0, 400.0])
def test_a_measured_ratio_does_it_too(sensor_degc):
    """README's way without the block: supply_v is 3.3 times the 3V3 over the converter's supply, both measured."""
    share = unreferenced_share(PT1000_OHM[sensor_degc])
    assert pt1000_degc(3.3 * share, 3.3 * 3.3 / 3.27) == pytest.approx(sensor_degc, abs=0.1)


@pytest.mark.parametrize("degc", [-40, 85])
@pytest.mark.parametrize("ohm", [200.0, 2500.0, 9000.0])
def test_thermistor_input_reads_true_ohms(ohm, degc):
    volts = told_v("thermistor", ohm, degc, 3.366)
    assert transfer.pullup_ohm(volts, NOMINAL_V, BY_NAME["thermistor"].value("R1")) == pytest.approx(ohm, rel=0.01)


def test_the_reference_bears_two_shorted_sensors():
    """Both wires on ground: the reference still holds within 20 mV at the lowest 3V3, so the other channels read on."""
    body = ["vrail 3v3 0 3.234", *netlist.lines(BY_NAME["reference"], "ref"), f"rboard 3v3 ref {REFERENCE_OHM}"]
    body += [f"iboard ref 0 {REFERENCE_A}", "rone ref 0 2.2k", "rtwo ref 0 2.2k", ".op"]
    assert spice.run(netlist.deck("shorted", body))["v(ref)"][0] == pytest.approx(3.0, abs=0.02)
