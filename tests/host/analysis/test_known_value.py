"""A channel that measures a known value, such as a reference voltage: outside its limits nothing analog is believed."""

import copy

import numpy as np
import pytest
from bench import faults as campaign
from truth import wired

from ringpull.analysis.answer import answer
from ringpull.analysis.drive_state.columns import Columns
from ringpull.analysis.instruments import known_check
from ringpull.analysis.instruments.glance import Glance
from ringpull.analysis.instruments.records import Cause, Check, State
from ringpull.analysis.instruments.trust import trust
from ringpull.analysis.judge import verdict
from ringpull.files import configuration
from ringpull.wording import instruments as words

REFERENCE = {"name": "reference", "input": "x6", "kind": "linear", "unit": "V", "volts": [0, 5], "values": [0, 5]}
REFERENCE |= {"expect": [2.45, 2.55]}


def answered(seed, reads_v):
    """The answer to a drive without a lean event. reads_v: the reference from the middle of the drive on, or None."""
    made = wired.wire(seed, False)
    made = copy.deepcopy(made, {id(made.drive): made.drive})
    if reads_v is not None:
        made.config["channels"].append(REFERENCE)
        made.volts["reference"] = np.where(made.time_s < 0.5 * made.time_s[-1], 2.5, reads_v)
    table, states = wired.table(made, np.random.default_rng([8, seed]))
    return answer(
        campaign.ColumnDrive(campaign.ColumnSession(table, states, configuration.of(made.config), made.presses_s))
    )


def reference_of(found):
    return next((one for one in found.instruments if one.role == "reference"), None)


def test_outside_its_limits_it_puts_the_answer_in_doubt():
    found = answered(2, 2.3)
    one = reference_of(found)
    assert found.verdict == verdict.NOT_ENOUGH and one.state is State.CONTRADICTED
    (finding,) = one.findings
    assert finding.check is Check.KNOWN and finding.cause is Cause.REFERENCE
    assert finding.figures["value"] == pytest.approx(2.3, abs=0.01)
    told = str(words.doubt(one))
    assert told.startswith("reference is contradicted: reads 2.") and "where it must read 2.45 to 2.55" in told
    assert "every analog channel is in doubt" in told
    assert [one.channel for one in found.instruments if one.state is State.CONTRADICTED] == ["reference"]


def test_within_them_it_is_sound_and_without_it_all_is_as_before():
    found, before = answered(2, 2.52), answered(2, None)
    assert reference_of(found).state is State.SOUND and reference_of(before) is None
    assert found.verdict == before.verdict == verdict.NO_EVENT
    assert str(words.evidence(reference_of(found))).startswith("reads 2.5")


def test_two_of_them_are_both_told():
    made = columns_of(np.full(2000, 2.3), second=np.full(2000, 2.7))
    assert [one.channel for one in trust(made).doubted] == ["reference", "other"]


def columns_of(values, rpm=3000.0, second=None):
    """Columns at 200 Hz with nothing but engine speed and the reference."""
    written = [{"name": "engine_speed", "input": "p0", "kind": "pulses", "per_rev": 2, "max_rpm": 9000}, REFERENCE]
    named = {"reference": values}
    if second is not None:
        written.append(REFERENCE | {"name": "other", "input": "x7"})
        named["other"] = second
    count = len(values)
    return Columns(
        time_s=np.arange(count) / 200.0,
        lambda_=np.full(count, np.nan),
        rpm=np.broadcast_to(np.asarray(rpm, float), (count,)),
        config=configuration.of({"version": 1, "rate_hz": 200, "channels": written}),
        named=named,
    )


def known(values, rpm=3000.0):
    columns = columns_of(values, rpm)
    return known_check.known(Glance.of(columns), columns.config.by_name["reference"])


@pytest.mark.parametrize(
    ("value", "seconds", "state"),
    [
        (2.44, 1.25, State.CONTRADICTED),
        (2.56, 1.25, State.CONTRADICTED),
        (np.nan, 1.25, State.CONTRADICTED),  # beyond its configured volts, or a converter that does not answer
        (2.44, 0.5, State.CONTRADICTED),
        (2.44, 0.25, State.SOUND),
        (2.46, 5.0, State.SOUND),
        (2.54, 5.0, State.SOUND),
    ],
)
def test_how_far_and_for_how_long(value, seconds, state):
    values = np.concatenate([np.full(2000, 2.5), np.full(round(200 * seconds), value), np.full(2000, 2.5)])
    found = known(values)
    assert found.state is state
    if state is State.CONTRADICTED:
        assert found.figures["value"] == pytest.approx(value, nan_ok=True) and not found.spans
        assert found.figures["seconds"] == pytest.approx(seconds) and found.cause is Cause.REFERENCE


def test_noise_of_single_rows_is_not_held_against_it():
    values = np.random.default_rng(3).normal(2.5, 0.03, 40000)  # one row in ten is outside
    assert known(values).state is State.SOUND


def test_a_standing_engine_and_a_short_run_test_nothing():
    off = np.full(2000, 2.3)
    assert known(off, rpm=0.0).state is State.NOT_TESTED
    assert known(np.full(900, 2.5)).state is State.NOT_TESTED
    assert known(np.full(1100, 2.5)).state is State.SOUND


def test_no_reading_is_told_in_words():
    columns = columns_of(np.full(2000, np.nan))
    finding = known_check.known(Glance.of(columns), columns.config.by_name["reference"])
    assert str(words.AGAINST[Check.KNOWN](finding.figures)) == (
        "gives no reading for 10.0 s where it must read 2.45 to 2.55"
    )
