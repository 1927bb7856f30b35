"""Counts -> volts -> value."""

import math

from shared_math import transfer

LAMBDA = {"kind": "lambda", "volts": [0.5, 4.5], "values": [0.6, 1.4]}
FALLING = {"kind": "table", "volts": [4.0, 2.0, 1.0], "values": [0.0, 100.0, 200.0]}


def near(a, b, within):
    return a is not None and abs(a - b) <= within


def test_lambda_is_linear_and_ends_one_per_cent_beyond_its_range():
    assert near(transfer.to_value(LAMBDA, 0.5), 0.6, 1e-6)
    assert near(transfer.to_value(LAMBDA, 2.5), 1.0, 1e-6)
    assert near(transfer.to_value(LAMBDA, 4.535), 1.407, 1e-6)  # straight on, not held
    assert near(transfer.to_value(LAMBDA, 0.465), 0.593, 1e-6)
    for volts in (0.455, 4.545, 0.0, 5.0, -1.0, float("nan"), float("inf"), -float("inf")):
        assert transfer.to_value(LAMBDA, volts) is None, volts


def test_afr_is_divided_by_the_controllers_own_constant():
    channel = {"kind": "lambda", "scale": "afr", "stoich": 14.7, "volts": [0.25, 4.75], "values": [8.82, 20.58]}
    assert near(transfer.to_value(channel, 0.25), 0.6, 1e-6)
    assert near(transfer.to_value(channel, 2.5), 1.0, 1e-6)


def test_states_are_no_numbers():
    channel = dict(LAMBDA)
    channel["states"] = [{"name": "warm_up", "volts": [0.9, 1.1]}, {"name": "fault", "volts": [4.8, 5.0]}]
    assert transfer.to_value(channel, 1.0) is None and transfer.state_of(channel, 1.0) == "warm_up"
    assert transfer.state_of(channel, 5.0) == "fault"
    assert transfer.state_of(channel, 2.0) is None and near(transfer.to_value(channel, 2.0), 0.9, 1e-6)


def test_rails_are_bounds():
    assert transfer.at_rail(LAMBDA, 0.51) == -1 and transfer.at_rail(LAMBDA, 0.0) == -1
    assert transfer.at_rail(LAMBDA, 4.49) == 1 and transfer.at_rail(LAMBDA, 2.0) == 0
    assert transfer.at_rail(LAMBDA, 0.53) == 0 and transfer.at_rail(LAMBDA, 4.47) == 0
    assert transfer.at_rail(FALLING, 4.0) == 1
    assert transfer.at_rail({"kind": "rtd"}, 1.0) == 0


def test_tables_in_either_direction():
    assert near(transfer.to_value(FALLING, 3.0), 50.0, 1e-5)
    assert near(transfer.to_value(FALLING, 1.5), 150.0, 1e-5)
    assert near(transfer.to_value(FALLING, 2.0), 100.0, 1e-5)
    rising = {"kind": "frequency", "hz": [50, 100, 150], "values": [0, 30, 100]}
    assert near(transfer.frequency_value(rising, 75), 15.0, 1e-5)
    assert near(transfer.frequency_value(rising, 125), 65.0, 1e-5)
    assert transfer.frequency_value(rising, 160) is None and transfer.frequency_value(rising, 0) is None


def test_pullup():
    assert near(transfer.pullup_ohm(2.5, 5.0, 1800), 1800.0, 1e-3)
    assert near(transfer.pullup_ohm(1.0, 5.0, 4000), 1000.0, 1e-3)
    assert transfer.pullup_ohm(0.0, 5.0, 1800) is None  # shorted
    assert transfer.pullup_ohm(5.0, 5.0, 1800) is None  # open
    assert transfer.pullup_ohm(float("nan"), 5.0, 1800) is None


def test_thermistor_by_three_descriptions():
    # The B equation, written out: R = R25 exp(B (1/T - 1/298.15))
    ohm = 10000 * math.exp(3435 * (1 / 353.15 - 1 / 298.15))
    beta = {"kind": "thermistor", "pullup_ohm": 1800, "beta": 3435, "r25_ohm": 10000}
    volts = 5.0 * ohm / (ohm + 1800)
    assert near(transfer.to_value(beta, volts), 80.0, 2e-3)
    supply = dict(beta)
    supply["supply_v"] = 3.3
    assert near(transfer.to_value(supply, volts * 0.66), 80.0, 2e-3)
    points = [[0, 32128], [25, 9814], [50, 3542]]
    by_points = {"kind": "thermistor", "pullup_ohm": 1800, "points": points}
    by_coefficients = {"kind": "thermistor", "pullup_ohm": 1800, "steinhart_hart": transfer.steinhart_hart(points)}
    for degc, ohm in points:
        volts = 5.0 * ohm / (ohm + 1800)
        assert near(transfer.to_value(by_points, volts), degc, 5e-3)
        assert near(transfer.to_value(by_coefficients, volts), degc, 5e-3)
    assert transfer.to_value(beta, 4.99) is None and transfer.to_value(beta, 0.01) is None


def test_rtd_there_and_back():
    for degc in (-199, -100, -40, -1, 0, 25, 100, 400, 849):
        assert near(transfer.rtd_degc(transfer.rtd_ohm(degc, 1000), 1000), degc, 5e-3), degc
    assert transfer.rtd_degc(100, 1000) is None and transfer.rtd_degc(5000, 1000) is None
    channel = {"kind": "rtd", "pullup_ohm": 1000, "supply_v": 5.0, "r0_ohm": 1000}
    assert near(transfer.to_value(channel, 2.5), 0.0, 1e-3)
    assert transfer.to_value(channel, 5.0) is None
