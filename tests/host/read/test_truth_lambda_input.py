"""What a lambda controller's output means beside lambda: warm-up, fault, nonsense and both ends, through the firmware.

Which rows they are is known exactly; a value comes of none but the last two, and those are marked as bounds.
"""

import numpy as np
import pytest
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.analysis.drive_state import columns, sensor_range
from ringpull.analysis.judge import masks

# Volts of the controller, three seconds each, and what they mean with 0.25 to 4.70 V for 0.65 to 1.30
MEANING = {
    "warm-up": 0.10,
    "lambda": 2.00,
    "fault": 4.90,
    "between": 4.76,  # neither in range nor a state
    "above": 5.30,
    "lean end": 4.70,
    "rich end": 0.25,
    "below": 0.21,  # within one per cent of the span below the rich end: still told, as the end
}
CONTROLLER = {
    "volts": [0.25, 4.70],
    "values": [0.65, 1.30],
    "states": [{"name": "warm-up", "volts": [0.0, 0.15]}, {"name": "fault", "volts": [4.82, 5.0]}],
    "accuracy": 0.01,
    "tau_ms": 65,
}


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    steps = [(t, v) for n, v in enumerate(MEANING.values()) for t in (3.0 * n, 3.0 * (n + 1))]
    lam = Profile([(0, 1), (1, 1)])
    signals = Signals(
        holds([2500], 3.0 * len(MEANING)), Tach(2), {"lambda_1": lam, "throttle": Profile([(0, 50), (1, 50)])}
    )
    signals.volts_override = {"lambda_1": Profile(steps)}
    signals.overrides = {"lambda_1": CONTROLLER}
    (session,) = ringpull.read(desk.dry_run(signals, tmp_path_factory.mktemp("input"))).sessions
    return session


def rows_of(session, name):
    """The rows of one of MEANING, without its first and last tenth of a second."""
    at = list(MEANING).index(name)
    t_s = session.frame()["time_s"].to_numpy()
    return (t_s > 3.0 * at + 0.1) & (t_s < 3.0 * (at + 1) - 0.1)


@pytest.mark.parametrize("name", ["warm-up", "fault", "between", "above"])
def test_no_number_comes_of_it(session, name):
    assert np.isnan(session.frame()["lambda_1"].to_numpy()[rows_of(session, name)]).all()


def test_lambda_is_lambda(session):
    value = session.frame()["lambda_1"].to_numpy()[rows_of(session, "lambda")]
    assert value.mean() == pytest.approx(0.65 + (2.00 - 0.25) / 4.45 * 0.65, abs=0.0005)


def test_states_are_told_by_name(session):
    told = columns.from_session(session).states
    assert set(told) == {("lambda_1", "warm-up"), ("lambda_1", "fault")}
    for name in ("warm-up", "fault"):
        here = rows_of(session, name)
        assert told["lambda_1", name][here].all()
        others = np.any([rows_of(session, other) for other in MEANING if other != name], axis=0)
        assert not told["lambda_1", name][others].any()


@pytest.mark.parametrize(("name", "value"), [("lean end", 1.30), ("rich end", 0.65), ("below", 0.65)])
def test_ends_are_bounds_and_say_so(session, name, value):
    cols = columns.from_session(session)
    rich, lean = sensor_range.rails(cols)
    here = rows_of(session, name)
    finite = here & np.isfinite(cols.lambda_)
    assert np.nanmean(cols.lambda_[here]) == pytest.approx(value, abs=0.008) and finite.sum() > 0.5 * here.sum()
    assert (lean if name == "lean end" else rich)[finite].mean() > 0.9
    assert not (rich if name == "lean end" else lean)[here].any()
    assert not (rich | lean)[rows_of(session, "lambda")].any()


def test_the_analysis_judges_only_lambda(session):
    """Each of these is left out under a name of its own."""
    from ringpull.analysis.delay import align, transport

    cols = columns.from_session(session)
    model = transport.default(cols.config)
    told = masks.masks(cols, align.align(cols, model)).by_name
    expected = {
        "warm-up": "warm_up",
        "fault": "controller_state",
        "between": "controller_state",
        "above": "controller_state",
    }
    for name, mask in {**expected, "lean end": "saturation", "rich end": "saturation"}.items():
        here = rows_of(session, name)
        inside = here & np.roll(here, 60) & np.roll(here, -60)
        assert told[mask][inside].mean() > 0.9, (name, mask)
    usual = rows_of(session, "lambda")
    usual &= np.roll(usual, 60) & np.roll(usual, -60)
    for mask in ("warm_up", "controller_state", "saturation"):
        assert not told[mask][usual].any(), mask


def test_response_and_accuracy_are_what_is_configured(session):
    from ringpull.analysis.delay import transport
    from ringpull.analysis.judge import uncertainty

    cols = columns.from_session(session)
    assert transport.default(cols.config).tau_s == pytest.approx(0.065)
    (part,) = [part for part in uncertainty.budget(cols).parts if part.name == "controller"]
    assert part.u == pytest.approx(0.01 / np.sqrt(3)) and "configured" in part.source
