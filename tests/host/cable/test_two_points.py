"""A line through two known voltages: its uncertainty covers, by the GUM's own formulas; what does not fit is told."""

import numpy as np
import pytest

from ringpull.analysis.judge import input_uncertainty, uncertainty
from ringpull.analysis.judge.input_uncertainty import line_u
from ringpull.device import known_signals, two_points
from ringpull.device.two_points import Converter, Line, Meter, Point, Reading
from ringpull.errors import DoesNotFit
from ringpull.files import configuration

CONFIG = {"version": 1, "channels": []}
CHANNEL = {"name": "lambda_1", "input": "a0", "kind": "lambda", "volts": [0.0, 5.0], "values": [0.6, 1.4]}
CONVERTER = Converter(12, 3.3, (0.0, 0.0))
METER = Meter()
STEP = 3.3 / 4096 * 1.68


def reading(counts, sigma=2.0, rows=400, u_counts=None, drift=0.0):
    return Reading(counts, sigma / rows**0.5 if u_counts is None else u_counts, sigma, 10, 4000, rows, drift)


def at(volts, gain=1.0, known=None, **more):
    return Point(volts if known is None else known, reading(volts * gain / STEP - 0.5, **more))


def fit(*points, meter=METER, channel=CHANNEL, converter=CONVERTER):
    return two_points.fit(channel, CONFIG, converter, meter, list(points))


def test_the_line_is_the_nominal_one_where_parts_are_as_printed():
    found = fit(at(1.333), at(2.667), at(2.0))
    assert found.gain == pytest.approx(1.0, abs=1e-9) and found.zero_v == pytest.approx(0.0, abs=1e-9)
    assert found.line.at(found.line.counts[0]) == 1.333 and found.residuals[0].off_v == pytest.approx(0, abs=1e-9)


def test_the_uncertainty_covers_what_is_drawn():
    """A thousand calibrations: the meter off in proportion and by its last digit, both within its limits, and readings
    that scatter. Two standard uncertainties hold the truth in 95 % at least, and no more than three times too much."""
    rng = np.random.default_rng(5)
    meter = Meter(0.005, 0.002)
    inside, sizes, told = 0, [], []
    for _ in range(1000):
        scale = 1 + rng.uniform(-0.005, 0.005)
        points = []
        for volts in (1.333, 2.667):
            shown = volts * scale + rng.uniform(-0.002, 0.002)
            points.append(Point(shown, reading(volts / STEP - 0.5 + rng.normal(0, 0.1), u_counts=0.1)))
        line = fit(*points, meter=meter).line
        off, u_v = line.at(4.0 / STEP - 0.5) - 4.0, line.u_at(4.0)
        inside += abs(off) < 2 * u_v
        sizes.append(off)
        told.append(u_v)
    assert inside >= 950
    assert np.std(sizes) < np.mean(told) < 3 * np.std(sizes)


def test_errors_alike_and_apart():
    """JCGM 100:2008, equations 10 and 16, with sensitivities 1 - s and s."""
    assert line_u((0.004, 0.008), (1.0, 2.0), 1.0) == pytest.approx(0.004)
    assert line_u((0.004, 0.008), (1.0, 2.0), 1.5) == pytest.approx(0.006)  # alike is more, between them
    assert line_u((0.004, 0.004), (1.0, 2.0), 3.0) == pytest.approx(0.004 * np.hypot(1, 2))  # apart is more, outside


def test_the_mean_of_readings():
    """Batches of known sums: mean, scatter and the standard deviation of the mean."""
    rng = np.random.default_rng(3)
    batches, every = [], []
    for _ in range(4):
        values = np.rint(rng.normal(1000, 3, 100)).astype(int)
        every += list(values)
        off = values - values[0]
        batches.append(
            {
                "rows": 100,
                "base": int(values[0]),
                "sum": int(off.sum()),
                "squares": int((off**2).sum()),
                "least": int(values.min()),
                "most": int(values.max()),
            }
        )
    found = Reading.of(batches)
    assert found.counts == pytest.approx(np.mean(every)) and found.rows == 400
    assert found.sigma == pytest.approx(np.std(every, ddof=1), rel=0.02)
    assert found.u_counts >= found.sigma / 20


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ((at(1.0),), "apart"),
        ((at(1.0), at(1.5)), "a fifth of the input's range"),
        ((at(1.0, known=3.0), at(3.0, known=1.0)), "less or the same"),
        ((at(1.3, gain=1.08), at(2.6, gain=1.08)), "gain is -7.4 %"),
        ((at(1.3, known=1.15), at(2.6, known=2.45)), "off at 0 V"),
        ((at(1.3), at(2.6), at(2.0, known=2.05)), "does not lie on the line"),
    ],
)
def test_points_that_do_not_fit(points, said):
    with pytest.raises(DoesNotFit) as told:
        fit(*points)
    assert said in told.value.lines()


def test_the_parts_tolerances_are_let_through():
    """Resistors at their 1 %, the reference at its 2 %, the converter at its known errors: none of it is refused."""
    converter = Converter(14, 3.3, (15 * 3.3 / 4096, 5 * 3.3 / 4096))
    for gain in (0.972, 1.028):
        for bend in (-0.02, 0.02):
            points = [Point(v, reading((v * gain + bend) / STEP * 4 - 0.5)) for v in (1.333, 2.667)]
            assert fit(*points, converter=converter).gain == pytest.approx(1 / gain, rel=1e-6)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Reading(100, 0.1, 8.0, 70, 130, 400, 0.0), "scatter"),
        (Reading(100, 0.1, 2.0, 70, 130, 400, 6.0), "moved by 6.0"),
        (Reading(2, 0.1, 2.0, 0, 9, 400, 0.0), "an end"),
        (Reading(4090, 0.1, 2.0, 4080, 4095, 400, 0.0), "an end"),
    ],
)
def test_readings_that_are_no_ground(found, said):
    with pytest.raises(DoesNotFit, match=said):
        two_points.refuse_reading(found, CONVERTER)


def test_what_a_board_cannot_read_is_an_end_too():
    converter = Converter(16, 4.194304, (0.06, 0.01))
    low = Reading(2400, 0.1, 2.0, 2340, 2410, 400, 0.0)
    with pytest.raises(DoesNotFit, match="an end"):
        two_points.refuse_reading(low, converter, "esp32")
    two_points.refuse_reading(low, converter, "generic")


def test_ground():
    line = Line((1000.0, 2000.0), (1.0, 2.0), (0.003, 0.006), 12)
    point = Point(1.5, reading(1512.0))
    shift = two_points.ground_shift(line, CONVERTER, Meter(0.001), point)
    assert shift.volts == pytest.approx(0.012) and shift.found
    moved = two_points.shifted(line, shift)
    assert moved.at(1512.0) == pytest.approx(1.5) and moved.u_volts[0] > line.u_volts[0]
    assert not two_points.ground_shift(line, CONVERTER, Meter(), Point(1.5, reading(1502.0))).found
    with pytest.raises(DoesNotFit, match=r"\+120 mV"):
        two_points.ground_shift(line, CONVERTER, Meter(), Point(1.38, reading(1500.0)))


def test_a_calibration_keeps_its_meaning_where_the_counts_become_finer():
    line = two_points.line_of(
        CHANNEL | {"calibration": {"counts": [1000, 2000], "volts": [1.0, 2.0], "bits": 12}}, CONVERTER, Meter()
    )
    assert line is not None
    finer = Converter(14, 3.3, (0.0, 0.0))
    shift = two_points.ground_shift(line, finer, Meter(), Point(1.5, reading(6000.0)))
    assert shift.volts == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"edges": 3, "us": 1000000, "refused": 0}, "3 edges came"),
        ({"edges": 200, "us": 1000000, "refused": 0}, "rings"),
        ({"edges": 100, "us": 1000000, "refused": 50}, "rings"),
        ({"edges": 50, "us": 1000000, "refused": 0}, "every second edge"),
        ({"edges": 100, "us": 1002000, "refused": 0}, "-0.20 % off"),
    ],
)
def test_a_frequency_that_is_another(told, said):
    with pytest.raises(DoesNotFit) as error:
        known_signals.frequency(told, 100.0)
    assert said in error.value.lines()


def test_free_air_tells_logger_and_sensor_apart():
    assert known_signals.free_air(CHANNEL, 5.01, 0.002, 5.015).end_v == 5.0
    with pytest.raises(DoesNotFit, match="the logger reads"):
        known_signals.free_air(CHANNEL, 4.8, 0.002, 5.0)
    with pytest.raises(DoesNotFit, match="in free air the controller puts out"):
        known_signals.free_air(CHANNEL, 4.5, 0.002, 4.501)
    falling = CHANNEL | {"values": [1.4, 0.6]}
    assert known_signals.free_air_end(falling) == 0.0


def test_the_answer_takes_the_calibrations_own_uncertainty():
    """In place of the assumed multimeter; a better one makes the budget smaller."""

    def budget(**more):
        channel = CHANNEL | {"calibration": {"counts": [990, 1980], "volts": [1.33, 2.67], **more}}
        (made,) = configuration.channels_of([channel])
        return {p.name: p for p in input_uncertainty.parts(made, None, 0.16, 1.6, None)}

    assumed, told = budget(), budget(u_volts=[0.001, 0.002])
    assert "multimeter of the calibration" in assumed and "multimeter of the calibration" not in told
    assert told["two-point calibration"].u == pytest.approx(0.16 * line_u((0.001, 0.002), (1.33, 2.67), 1.6))
    assert not told["two-point calibration"].assumed
    assert uncertainty.rectangular(1.0) == pytest.approx(3**-0.5)
