"""Thermistors and platinum thermometers against tables and libraries."""

import math

import pytest

from shared_math import thermocouple, transfer

# A printed table of a 10 kohm thermistor, degC -> ohm (public data table)
PRINTED = {0: 32128, 10: 19549, 20: 12262, 25: 9814, 30: 7908, 50: 3542}


def test_steinhart_hart_through_a_printed_table():
    coefficients = transfer.steinhart_hart([[degc, PRINTED[degc]] for degc in (0, 25, 50)])
    for degc, ohm in PRINTED.items():
        # Whole ohms are printed: half an ohm is up to 0.0035 degC at 50, and 0.0015 at 30
        assert transfer.steinhart_hart_degc(ohm, coefficients) == pytest.approx(degc, abs=0.0025)


def test_steinhart_hart_coefficients_by_linear_algebra():
    # 21k at 8, 8.2k at 30, 3.1k at 55 degC: solved as three equations by numpy
    numpy = pytest.importorskip("numpy", reason="numpy (reference for the linear system) is not installed")
    points = [[8, 21000], [30, 8200], [55, 3100]]
    rows = [[1, math.log(ohm), math.log(ohm) ** 3] for _, ohm in points]
    expected = numpy.linalg.solve(rows, [1 / (degc + 273.15) for degc, _ in points])
    got = transfer.steinhart_hart(points)
    assert got == pytest.approx(list(expected), rel=1e-9)


@pytest.mark.parametrize(("degc", "ohm"), [(100, 138.51), (200, 175.86), (400, 247.09), (0, 100.0)])
def test_pt100_printed_table(degc, ohm):
    # IEC 60751, table of Pt100 resistances, two decimals
    assert transfer.rtd_ohm(degc, 100) == pytest.approx(ohm, abs=0.005)
    assert transfer.rtd_degc(ohm, 100) == pytest.approx(degc, abs=0.02)


@pytest.mark.parametrize("degc", [-199, -150, -40, -0.1, 0, 25, 100, 200, 600, 849])
def test_pt1000_against_a_library(degc):
    rtd_sensor = pytest.importorskip("rtd_sensor", reason="rtd-sensor (reference for IEC 60751) is not installed")
    ohm = rtd_sensor.pt1000.celsius_to_resistance(degc)
    assert transfer.rtd_ohm(degc, 1000) == pytest.approx(ohm, abs=1e-6)
    assert transfer.rtd_degc(ohm, 1000) == pytest.approx(degc, abs=1e-6)


@pytest.mark.parametrize("degc", [-180, -20, 5, 77, 500])
def test_rtd_by_a_general_root_finder(degc):
    optimize = pytest.importorskip("scipy.optimize", reason="scipy (reference root finder) is not installed")
    ohm = transfer.rtd_ohm(degc, 100)
    root = optimize.brentq(lambda t: transfer.rtd_ohm(t, 100) - ohm, -200, 850, xtol=1e-10)
    assert transfer.rtd_degc(ohm, 100) == pytest.approx(root, abs=1e-6)


def test_thermistor_channel_by_circuit_analysis():
    """Volts of the pull-up circuit by node equations, temperature by the B equation inverted with a root finder."""
    optimize = pytest.importorskip("scipy.optimize", reason="scipy (reference root finder) is not installed")
    channel = {"kind": "thermistor", "pullup_ohm": 1800, "beta": 3435, "r25_ohm": 10000, "supply_v": 5.0}
    for volts in (0.3, 1.0, 2.5, 4.0, 4.7):
        current = (5.0 - volts) / 1800
        ohm = volts / current
        root = optimize.brentq(lambda t, r=ohm: 1e4 * math.exp(3435 * (1 / (t + 273.15) - 1 / 298.15)) - r, -80, 400)
        assert transfer.to_value(channel, volts) == pytest.approx(root, abs=1e-6)


# Type K, mV with the reference junction at 0 degC: NIST ITS-90 thermocouple table, printed to three or four decimals
TYPE_K = {25: 1.0002, 100: 4.0962, 500: 20.6443, 800: 33.2754, 900: 37.3259, 1000: 41.2756}


@pytest.mark.parametrize(("degc", "mv"), TYPE_K.items())
def test_type_k_printed_table(degc, mv):
    assert thermocouple.millivolts(degc) == pytest.approx(mv, abs=5.1e-5)
    assert thermocouple.degc_of(mv) == pytest.approx(degc, abs=0.002)


@pytest.mark.parametrize("degc", [-199.9, -120, -40, -0.01, 0, 0.01, 60, 126.9686, 350, 920, 1371.9])
def test_type_k_against_a_library(degc):
    its90 = pytest.importorskip(
        "thermocouple_its90", reason="thermocouple-its90 (reference for type K) is not installed"
    )
    mv = float(its90.get("K").emf(degc))
    assert thermocouple.millivolts(degc) == pytest.approx(mv, abs=1e-6)
    assert thermocouple.degc_of(mv) == pytest.approx(degc, abs=1e-5)


def test_cold_junction_is_added_in_millivolts():
    """E(900) - E(25) = 36.3257 mV, NIST table."""
    amplifier = {"kind": "thermocouple", "type": "K", "gain": 135.0, "zero_v": 0.25}
    volts = 0.25 + 0.0363257 * 135.0
    assert transfer.to_value(amplifier | {"cold_degc": 25}, volts) == pytest.approx(900, abs=0.003)
    assert thermocouple.channel_degc(amplifier | {"cold": "terminals"}, volts, 25.0) == pytest.approx(900, abs=0.003)
    assert transfer.to_value(amplifier | {"cold": "terminals"}, volts) is None
    # an amplifier that makes up for the junction gives the table's own millivolts
    assert transfer.to_value(amplifier, 0.25 + 0.0373259 * 135.0) == pytest.approx(900, abs=0.002)
    # 500 degC against terminals at 60: degrees added in place of millivolts would be 2 to 4 degrees off
    assert 2 < abs(thermocouple.degc_of(20.6443 - thermocouple.millivolts(60)) + 60 - 500) < 4


@pytest.mark.parametrize("mv", [-5.9, 54.9, 1000.0, float("nan"), float("inf")])
def test_type_k_out_of_range_is_no_number(mv):
    assert thermocouple.degc_of(mv) is None
