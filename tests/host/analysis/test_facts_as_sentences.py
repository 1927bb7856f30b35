"""What the delay, the repeatability and the banks hold as facts, as the sentences that are shown."""

from dataclasses import replace
from math import nan

import pytest

from ringpull.analysis.cells.banks import BankCell, Banks
from ringpull.analysis.cells.repeat import Repeat
from ringpull.analysis.delay import transport
from ringpull.analysis.delay.cues import TimeZero
from ringpull.analysis.delay.origin import FromEvents, LagApart, NotFromEvents, Unfit
from ringpull.files import configuration
from ringpull.files.configuration import Configuration, Engine
from ringpull.wording import across, delay

ASSUMED = NotFromEvents(1.6, False, 0.08, False)
CONFIGURED = configuration.of(
    {"vehicle": {"exhaust_l": 1.8}, "channels": [{"name": "lambda_1", "kind": "lambda", "tau_ms": 60}]}
)


def test_what_is_configured_and_what_is_assumed():
    assert delay.source(transport.default(Configuration(engine=Engine(displacement_cc=1600))).source) == (
        "not identified: exhaust volume 1.60 l assumed (the engine's displacement), "
        "lag 80 ms assumed: treated as a delay"
    )
    assert delay.source(transport.default(CONFIGURED).source) == (
        "not identified: exhaust volume 1.80 l from the configuration, lag 60 ms from the configuration"
    )


@pytest.mark.parametrize(
    ("unfit", "why"),
    [
        (Unfit.NO_PRESSURE, "no manifold pressure, so no flow"),
        (Unfit.NO_SIGNAL, "no lambda or no engine speed"),
        (Unfit.FEW_EVENTS, "2 usable events, 3 needed"),
        (Unfit.UNCERTAIN, "the delay from its 2 events is too uncertain"),
    ],
)
def test_why_a_drive_shows_no_delay(unfit, why):
    told = delay.source(replace(ASSUMED, unfit=unfit, events=2))
    assert told.startswith(f"not identifiable from this drive ({why}); not identified: exhaust volume 1.60 l assumed")


def test_what_a_delay_was_identified_from():
    made = FromEvents(1, 2, 0, 1, TimeZero.INJECTOR, True, ASSUMED, seen=4, used=4)
    assert delay.source(made) == (
        "identified from 1 fuel cut, 2 ends of cuts and 1 fall after a cut; the delay is counted from injector time"
    )
    assert delay.source(replace(made, ends=0, tails=0)).startswith("identified from 1 fuel cut; ")
    told = delay.source(
        replace(made, zero=TimeZero.THROTTLE, lag_shown=False, lag_apart=LagApart(0.4, 0.08, 0.01), seen=90, most=12)
    ).split("; ")
    assert told[1:] == [
        "the delay is counted from throttle",
        "they do not show the lag well enough: 80 ms as configured or assumed",
        "the configured lag is 400 ms, but this drive shows 80 +/- 20 ms, which was used",
        "correct tau_ms",
        "so the delay from these events is an estimate and is not used: the delay that was removed has exhaust volume "
        "1.60 l assumed (the engine's displacement)",
        "of 90 events at most 12 of each kind, spread over the drive, were used",
    ]


def test_how_well_pulls_repeat():
    few = Repeat(0, nan, nan, nan, nan, nan, nan, [])
    assert across.repeat(few) == ["no pull to compare"]
    assert "at least two more" in across.repeat(replace(few, pulls=1))[0]
    assert across.repeat(replace(few, pulls=2)) == ["no cell was visited by two pulls"]
    two = replace(few, pulls=2, between=0.004, within=0.002, one_pull=0.009)
    assert [str(line) for line in across.repeat(two)] == [
        "pulls differ as wholes by 0.004 and scatter within by 0.002 (standard deviations)",
        "a single pull's value in one cell is certain to +/- 0.009 (95 %)",
    ]
    drifting = replace(two, pulls=3, drift=0.002, drift_low=0.001, drift_high=0.003)
    assert across.repeat(drifting)[2] == "drift of +0.0020 per pull, significant"
    assert across.repeat(replace(drifting, drift_low=-0.001))[2] == "drift of +0.0020 per pull, not significant"


def test_how_banks_differ():
    cells = [
        BankCell(3000.0, 150.0, 4, 0.03, 0.02, 0.04, "b", 0.01),
        BankCell(3500.0, None, 4, -0.03, -0.04, -0.02, "a", 0.01),
        BankCell(4000.0, 150.0, 2, 0.03, nan, nan, "b", 0.01),
    ]
    made = Banks(("a", "b"), cells, "kPa", 0.01)
    first, _, third, _ = across.banks(made)
    assert first == (
        "b minus a, with 95 % intervals: 3000 rpm, 150 kPa +0.030 (+0.020 to +0.040); "
        "3500 rpm -0.030 (-0.040 to -0.020)"
    )
    assert third.startswith("the sensors alone may differ by 0.010;")
    assert "3000 rpm, 150 % +0.030" in across.banks(replace(made, load_unit="%"))[0]
    assert across.banks(replace(made, cells=cells[2:]))[0] == (
        "b minus a: no cell was visited 3 times, so there is no interval"
    )
