"""Analog values out of the whole chain against the truth at the sensor, and nothing invented where there is none."""

import numpy as np
import pytest
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull

LAMBDA_LIMIT = 0.003
SETTLED_S = 0.05
IDLE = holds([2000], 40.0)
STEPS = holds([0.70, 0.85, 1.00, 1.30, 0.62, 0.95], 4.0)
FULL = {
    "lambda_1": STEPS,
    "lambda_2": holds([1.30, 0.78, 0.88, 1.05], 6.0),
    "map": holds([30, 100, 180, 295], 5.0),
    "throttle": holds([2, 50, 98], 7.0),
    "fuel_pressure": holds([300, 480, 700], 6.0),
    "battery": holds([13.8, 12.1, 14.6], 6.0),
}
# Relative to the span: as lambda, 0.003 of 0.8
LIMITS = {"lambda_1": 0.003, "lambda_2": 0.003, "map": 1.05, "throttle": 0.375, "fuel_pressure": 3.75, "battery": 0.07}
COLUMNS = {"map": "map_kpa", "throttle": "throttle_pct", "fuel_pressure": "fuel_pressure_kpa", "battery": "battery_v"}


@pytest.mark.parametrize(
    ("rate_hz", "names"),
    [
        (10, ["lambda_1"]),
        (50, ["lambda_1", "map"]),
        (200, list(FULL)),
        (500, ["lambda_1", "lambda_2", "throttle"]),
    ],
    ids=str,
)
def test_steady_values(tmp_path, rate_hz, names):
    speed = holds([2500], 25.0)
    signals = Signals(speed, Tach(2, glitches=True), {name: FULL[name] for name in names}, rate_hz)
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame, raw = session.frame(), session.raw()
    t_s = frame["time_s"].to_numpy() + desk.power_on_s(raw, signals, session.period_s)
    assert set(frame.columns) >= {"session", "time_s", *(COLUMNS.get(name, name) for name in names)}
    for name in names:
        truth = signals.analog[name]
        held = desk.steady(truth, t_s, SETTLED_S + 1 / rate_hz) | (t_s > truth.t_s[-1] + SETTLED_S)
        error = frame[COLUMNS.get(name, name)].to_numpy()[held] - truth(t_s[held])
        desk.assert_within(error, LIMITS[name], name)
    # The converter's noise was on: else the limits above would be met by a desk that is quieter than hardware
    quiet = (t_s > 1) & (t_s < 3)
    assert 1.0 < raw["lambda_1"][quiet].std() < 3.0


def test_a_step_arrives_when_it_happened(tmp_path):
    """The front end may round a step off by its few milliseconds; rows before it must not know of it."""
    signals = Signals(IDLE, Tach(2), {"lambda_1": holds([0.8, 1.2] * 5, 4.0)}, 200)
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    t_s = frame["time_s"].to_numpy() + desk.power_on_s(session.raw(), signals, session.period_s)
    value = frame["lambda_1"].to_numpy()
    for at in range(1, 10):
        low, high = (0.8, 1.2) if at % 2 else (1.2, 0.8)
        before = value[(t_s > 4.0 * at - 0.1) & (t_s < 4.0 * at - 0.001)]
        after = value[(t_s > 4.0 * at + 0.025) & (t_s < 4.0 * at + 0.1)]
        assert np.abs(before - low).max() < 3 * LAMBDA_LIMIT
        assert np.abs(after - high).max() < 3 * LAMBDA_LIMIT


def test_a_lambda_ramp_has_no_bias_beyond_the_filter(tmp_path):
    signals = Signals(IDLE, Tach(2), {"lambda_1": Profile([(0, 0.8), (5, 0.8), (15, 1.2), (40, 1.2)])}, 200)
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    t_s = frame["time_s"].to_numpy() + desk.power_on_s(session.raw(), signals, session.period_s)
    ramp = (t_s > 6) & (t_s < 14)
    error = frame["lambda_1"].to_numpy()[ramp] - signals.analog["lambda_1"](t_s[ramp])
    assert abs(error.mean()) < 0.04 * 0.010  # 10 ms of this ramp


def test_afr_scale_uses_the_controllers_own_constant(tmp_path):
    """A controller that prints air-fuel ratio by 14.7: lambda is what it printed over 14.7, whatever the fuel."""
    afr = {"scale": "afr", "stoich": 14.7, "volts": [0.0, 5.0], "values": [8.6, 21.1]}
    printed = holds([10.29, 13.23, 14.70, 16.17], 4.0)
    signals = Signals(holds([2000], 16.0), Tach(2), {"lambda_1": printed}, overrides={"lambda_1": afr})
    signals.top = {"fuel": {"name": "ethanol"}}
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    t_s = frame["time_s"].to_numpy() + desk.power_on_s(session.raw(), signals, session.period_s)
    held = desk.steady(printed, t_s, SETTLED_S)
    desk.assert_within(frame["lambda_1"].to_numpy()[held] - printed(t_s[held]) / 14.7, 0.004, "lambda of an AFR output")


def test_invalid_is_nan(tmp_path):
    """A controller's warm-up volts, a broken wire and an input beyond the converter's end: no number comes of them."""
    lambda_volts = Profile([(0, 0.1), (5, 0.1), (5, 2.5), (10, 2.5)])
    map_volts = Profile([(0, 2.5), (5, 2.5), (5, 0.05), (10, 0.05)])
    throttle_volts = Profile([(0, 2.5), (5, 2.5), (5, 5.9), (10, 5.9)])
    signals = Signals(
        holds([2000], 10.0), Tach(2), dict.fromkeys(["lambda_1", "map", "throttle"], Profile([(0, 1), (1, 1)]))
    )
    signals.volts_override = {"lambda_1": lambda_volts, "map": map_volts, "throttle": throttle_volts}
    warm_up = {"volts": [0.5, 5.0], "values": [0.65, 1.30], "states": [{"name": "warm-up", "volts": [0.0, 0.3]}]}
    signals.overrides = {"lambda_1": warm_up}
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    t_s = frame["time_s"].to_numpy() + desk.power_on_s(session.raw(), signals, session.period_s)
    first, second = (t_s > 0.1) & (t_s < 4.9), (t_s > 5.1) & (t_s < 9.8)
    assert frame["lambda_1"][first].isna().all() and frame["lambda_1"][second].notna().all()
    assert frame["map_kpa"][first].notna().all() and frame["map_kpa"][second].isna().all()
    assert frame["throttle_pct"][first].notna().all() and frame["throttle_pct"][second].isna().all()
    # 0.65 + (2.5 - 0.5) / 4.5 * 0.65, and the middle of the others' ranges
    assert frame["lambda_1"][second].mean() == pytest.approx(0.9389, abs=0.001)
    assert frame["map_kpa"][first].mean() == pytest.approx(160, abs=0.5)


def test_thermistor_and_rtd_against_printed_tables(tmp_path):
    """Volts of a 1.8 kohm pull-up from 5 V, resistances from a printed 10 kohm thermistor table (0 degC 32128,
    20 degC 12262, 25 degC 9814, 50 degC 3542 ohm) and from IEC 60751's table for a 1 kohm platinum resistor
    (100 degC 1385.055, 200 degC 1758.56 ohm)."""
    pull = 1800.0
    curve = {"kind": "thermistor", "pullup_ohm": pull, "points": [[0, 32128], [25, 9814], [50, 3542]]}
    platinum = {"kind": "rtd", "pullup_ohm": pull, "r0_ohm": 1000.0}
    for one in (curve, platinum):
        one.update({"volts": None, "values": None})

    def volts(ohms: list[float]) -> Profile:
        return holds([5.0 * ohm / (pull + ohm) for ohm in ohms], 5.0)

    signals = Signals(holds([2000], 10.0), Tach(2), dict.fromkeys(["coolant", "exhaust"], Profile([(0, 1), (1, 1)])))
    signals.volts_override = {"coolant": volts([12262, 3542]), "exhaust": volts([1385.055, 1758.56])}
    signals.overrides = {"coolant": curve, "exhaust": platinum}
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    first, second = frame["time_s"].between(0.2, 4.8), frame["time_s"].between(5.2, 9.7)
    assert frame["coolant_degc"][first].mean() == pytest.approx(20, abs=0.3)
    assert frame["coolant_degc"][second].mean() == pytest.approx(50, abs=0.3)
    assert frame["exhaust_degc"][first].mean() == pytest.approx(100, abs=0.6)
    assert frame["exhaust_degc"][second].mean() == pytest.approx(200, abs=0.9)


def test_thermocouple_with_a_measured_cold_junction(tmp_path):
    """Type K against terminals that warm from 20 to 50 degC under a thermistor: what the amplifier gives is the NIST
    table's millivolts of the junction less those of the terminals (500 degC 20.6443, 900 degC 37.3259, 20 degC 0.7981,
    50 degC 2.0231 mV), 135 times, from 0.25 V on."""
    pull, gain, zero_v = 1800.0, 135.0, 0.25
    curve = {"kind": "thermistor", "pullup_ohm": pull, "points": [[0, 32128], [25, 9814], [50, 3542]]}
    amplifier = {"kind": "thermocouple", "gain": gain, "zero_v": zero_v, "cold": "terminals"}
    for one in (curve, amplifier):
        one.update({"volts": None, "values": None})
    signals = Signals(holds([2000], 10.0), Tach(2), dict.fromkeys(["terminals", "exhaust"], Profile([(0, 1), (1, 1)])))
    signals.volts_override = {
        "terminals": holds([5.0 * ohm / (pull + ohm) for ohm in (12262, 3542)], 5.0),
        "exhaust": holds([zero_v + gain * mv / 1000 for mv in (20.6443 - 0.7981, 37.3259 - 2.0231)], 5.0),
    }
    signals.overrides = {"terminals": curve, "exhaust": amplifier}
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path)).sessions
    frame = session.frame()
    first, second = frame["time_s"].between(0.2, 4.8), frame["time_s"].between(5.2, 9.7)
    # A count is 1.35 mV at the terminal, 0.26 degC of the junction
    assert frame["exhaust_degc"][first].mean() == pytest.approx(500, abs=0.5)
    assert frame["exhaust_degc"][second].mean() == pytest.approx(900, abs=0.5)
