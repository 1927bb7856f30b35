"""How truly the 0-5 V input measures: tolerance and temperature, bandwidth, aliases, settling."""

import numpy as np
import pytest
import spice

from hardware.circuit import accuracy, netlist
from hardware.circuit.blocks import BY_NAME
from shared_math import channels, transfer

BLOCK = BY_NAME["analog_5v"]
TOP, BOTTOM, FILTER = BLOCK.value("R1"), BLOCK.value("R2"), BLOCK.value("C1")


def instances(volts, values, degc):
    """Pin volts of one input after another, each with its own resistors, all in one simulation."""
    body = ["vrail 3v3 0 3.3", f"vin in 0 {volts}", *netlist.lines(BY_NAME["clamp"], "clamp")]
    for k, (top, bottom) in enumerate(values):
        lines = netlist.lines(BLOCK, f"x{k}", values={"R1": f"{top:.6f}", "R2": f"{bottom:.6f}"})
        body += [line.replace(f"x{k}.in ", "in ") for line in lines]
    result = spice.run(netlist.deck("accuracy", [*body, f".options temp={degc}", ".op"]))
    return np.array([result[f"v(x{k}.pin)"][0] for k in range(len(values))])


@pytest.mark.parametrize("at_lambda", [0.75, 0.85, 1.0])
def test_monte_carlo_stays_within_what_is_said(at_lambda):
    plain = accuracy.errors(at_lambda, calibrated=False)
    trimmed = accuracy.errors(at_lambda, calibrated=True)
    assert len(plain) == accuracy.RUNS == 1000
    assert np.max(np.abs(plain)) < accuracy.WORST_LAMBDA
    assert np.max(np.abs(trimmed)) < accuracy.WORST_LAMBDA_CALIBRATED
    assert np.std(trimmed) < np.std(plain)


def test_the_worst_is_not_padded():
    """What is said must be reached to four fifths, or it says nothing."""
    worst = max(np.max(np.abs(accuracy.errors(x, False))) for x in (0.75, 0.85, 1.0))
    trimmed = max(np.max(np.abs(accuracy.errors(x, True))) for x in (0.75, 0.85, 1.0))
    assert worst > 0.8 * accuracy.WORST_LAMBDA
    assert trimmed > 0.8 * accuracy.WORST_LAMBDA_CALIBRATED


@spice.needs_ngspice
@pytest.mark.parametrize("degc", [-40, 25, 85])
@pytest.mark.parametrize("volts", [0.5, 1.56, 3.0, 5.0])
def test_the_simulated_input_is_the_divider(volts, degc):
    """Cross-check of the Monte Carlo: 60 drawn inputs in ngspice, clamps and all, against the plain ratio.

    Half a count everywhere but at the very top, hot, where the upper clamp begins to draw: one and a half.
    """
    draw = np.random.default_rng(7)
    values = np.array([TOP, BOTTOM]) * (1 + 0.01 * draw.uniform(-1, 1, (60, 2)))
    pins = instances(volts, values, degc)
    ratio = values[:, 1] / values.sum(axis=1)
    assert np.max(np.abs(pins - volts * ratio)) < (0.0012 if volts == 5.0 and degc == 85 else 0.0004)


@spice.needs_ngspice
def test_bandwidth_and_aliases():
    """One pole where the firmware's dry run puts it; what folds down onto slow signals at 200 Hz is damped as said."""
    body = ["vrail 3v3 0 3.3", *netlist.lines(BY_NAME["clamp"], "clamp"), *netlist.lines(BLOCK, "x")]
    body += ["vin x.in 0 dc 2.5 ac 1", ".options temp=25", ".ac dec 100 0.1 1meg"]
    result = spice.run(netlist.deck("bandwidth", body))
    hertz = result["frequency"].real
    damping_db = 20 * np.log10(np.abs(result["v(x.pin)"]) * (TOP + BOTTOM) / BOTTOM)
    corner = np.interp(-3.0103, damping_db[::-1], hertz[::-1])
    tau = TOP * BOTTOM / (TOP + BOTTOM) * FILTER
    assert corner == pytest.approx(1 / (2 * np.pi * tau), rel=0.05)
    said = {190: -8, 1000: -22, 10000: -43}  # README's figures, dB
    at = {f: float(np.interp(f, hertz, damping_db)) for f in (5, 100, *said)}
    assert corner == pytest.approx(82, abs=0.5)
    assert at[5] > -0.05
    assert at[100] < -3.5
    for f, damping in said.items():
        assert at[f] == pytest.approx(damping, abs=0.5), f


@spice.needs_ngspice
@pytest.mark.parametrize("name", ["analog_5v", "differential"])
def test_step_settles(name):
    """From 0.5 to 4.5 V: within a tenth of a per cent in 16 ms, 63 % in 1.8 to 2.1 ms."""
    body = ["vrail 3v3 0 3.3", *netlist.lines(BY_NAME["clamp"], "clamp"), *netlist.lines(BY_NAME[name], "x")]
    body += ["vin x.in 0 pwl(0 0.5 5m 0.5 5.001m 4.5)"] + (["vs x.sense 0 0"] if name == "differential" else [])
    result = spice.transient(body, 40e-3, 25, 20e-6)
    pin, after_s = result["v(x.pin)"], result["time"] - 5e-3
    start, end = pin[after_s < 0][-1], pin[-1]
    assert 1.8e-3 < np.interp(start + (end - start) * (1 - np.exp(-1)), pin, after_s) < 2.1e-3
    assert np.all(np.abs(pin[after_s > 16e-3] - end) < 1e-3 * (end - start))


@spice.needs_ngspice
def test_differential_ignores_where_ground_is():
    """Signal ground 0.3 V above or below the logger's: the plain input is wrong by that much, this one by 3 mV."""
    pins = {}
    for shift in (-0.3, 0.0, 0.3):
        body = ["vrail 3v3 0 3.3", *netlist.lines(BY_NAME["clamp"], "clamp")]
        body += netlist.lines(BY_NAME["differential"], "x", parameters={"U1": "offset=0"})
        body += [f"vs x.sense 0 {shift}", "vin x.in x.sense 2.5", ".op"]
        pins[shift] = spice.run(netlist.deck("shift", body))["v(x.pin)"][0] * (TOP + BOTTOM) / BOTTOM
    assert abs(pins[0.0] - 2.5) < 0.003
    assert max(abs(pins[s] - pins[0.0]) for s in pins) < 0.003


def test_differential_has_the_scale_of_the_plain_input():
    block = BY_NAME["differential"]
    for top, bottom, filter_ in (("R1", "R3", "C1"), ("R4", "R6", "C2")):
        assert block.value(top) == TOP and block.value(bottom) == BOTTOM
        assert block.value(bottom) * block.value(filter_) == pytest.approx(1.8e-3)
    assert block.value("R2") == block.value("R5") == BOTTOM


def test_the_analysis_allows_for_this_front_end():
    """Its assumptions about resistors, reference and ground are the circuit's, and its budget covers the drawn errors."""
    from ringpull.analysis.judge import uncertainty

    assert uncertainty.RESISTOR_TOLERANCE == accuracy.RESISTOR.tolerance
    assert uncertainty.REFERENCE_TOLERANCE == accuracy.limits.REFERENCE_TOLERANCE
    assert uncertainty.GROUND_V == accuracy.limits.GROUND_V
    volts = (0.85 - accuracy.LAMBDA_AT_0V) / accuracy.LAMBDA_PER_V
    parts = [
        volts * uncertainty.divider_u(*channels.DIVIDER_5V),
        volts * uncertainty.rectangular(uncertainty.REFERENCE_TOLERANCE),
        uncertainty.rectangular(uncertainty.GROUND_V),
    ]
    allowed = accuracy.LAMBDA_PER_V * float(np.hypot.reduce(parts))
    assert np.std(accuracy.errors(0.85, False)) < 1.1 * allowed


@spice.needs_ngspice
@pytest.mark.parametrize("degc", [-40, 25, 85])
@pytest.mark.parametrize("sensor_degc", [-40.0, 25.0, 100.0, 200.0])
def test_pt1000_reads_true(sensor_degc, degc):
    """The input with the resistances of IEC 60751 (as rtd-sensor gives them) through the configuration under the drawing."""
    ohm = {-40.0: 842.707, 25.0: 1097.347, 100.0: 1385.055, 200.0: 1758.560}[sensor_degc]
    channel = {"kind": "rtd", "r0_ohm": 1000, "pullup_ohm": BY_NAME["pt1000"].value("R1"), "supply_v": 3.3}
    assert transfer.to_value(channel, resistive("pt1000", ohm, degc)) == pytest.approx(sensor_degc, abs=0.4)


@spice.needs_ngspice
@pytest.mark.parametrize("degc", [-40, 25, 85])
@pytest.mark.parametrize("ohm", [200.0, 2500.0, 9000.0])
def test_thermistor_input_reads_true_ohms(ohm, degc):
    volts = resistive("thermistor", ohm, degc)
    assert transfer.pullup_ohm(volts, 3.3, BY_NAME["thermistor"].value("R1")) == pytest.approx(ohm, rel=0.01)


def resistive(name, ohm, degc):
    """Volts at the pin with that sensor on the terminal."""
    body = ["vrail 3v3 0 3.3", *netlist.lines(BY_NAME["clamp"], "clamp"), *netlist.lines(BY_NAME[name], "x")]
    return spice.run(netlist.deck("sensor", [*body, f"rsensor x.in 0 {ohm}", f".options temp={degc}", ".op"]))[
        "v(x.pin)"
    ][0]
