"""What was not recorded is no good mixture: a lean event there would not show, and the answer says so."""

import numpy as np
from analysis_scenes import StandInDrive, StandInSession, scene
from long_sessions import DEMO

import ringpull
from ringpull.analysis import answer
from ringpull.analysis.judge import stretches, verdict
from ringpull.analysis.judge.reasons import Why
from ringpull.wording.reasons import reason
from shared_math import layout

SLOT, RATE_HZ = layout.SLOT, 200
PULL_2 = (57.0, 65.4)  # its lean event lies between 61.5 and 63 s, at 4,700 to 5,700 rpm


def answered(folder, from_s=np.inf, to_s=np.inf, until_s=np.inf):
    """The answer to the demo's drive with the blocks of some seconds destroyed, or all behind `until_s` cut off."""
    data = DEMO.read_bytes() if DEMO.is_file() else (DEMO / "drive.rpl").read_bytes()
    slots = [bytes(data[at : at + SLOT]) for at in range(0, len(data), SLOT)]
    out = []
    for slot in slots:
        if slot[layout.AT_KIND] in (layout.PACKED, layout.PLAIN):
            first_s = layout.get32(slot, layout.AT_FIRST_ROW) / RATE_HZ
            end_s = first_s + (layout.get16(slot, layout.AT_ROWS) & layout.ROWS_MASK) / RATE_HZ
            if first_s >= until_s:
                break
            slot = b"\x5a" * SLOT if end_s > from_s and first_s < to_s else slot
        out.append(slot)
    (folder / "drive.rpl").write_bytes(b"".join(out))
    return answer.answer(ringpull.read(folder / "drive.rpl"))


def of_kind(found, kind):
    return [one for one in found.reasons if one.kind is kind]


def test_the_end_of_a_pull_that_is_missing_is_told_and_not_calm(tmp_path):
    found = answered(tmp_path, 61.0, 66.0)
    assert found.verdict == verdict.NOT_ENOUGH and len(found.pulls) == 3
    (hidden,) = of_kind(found, Why.HIDDEN)
    assert hidden.pull == 2 and hidden.values["mask"] == stretches.NOT_RECORDED
    assert hidden.values["seconds"] > 4.0 and 3500 < hidden.values["rpm_from"] < 4800
    assert np.isnan(hidden.values["rpm_to"]) and "rpm on could not be judged (not recorded)" in reason(hidden)
    assert found.as_json()["pulls"][1]["hidden"][0]["rpm_to"] is None


def test_the_speeds_of_a_gap_are_those_of_its_sides(tmp_path):
    found = answered(tmp_path, 61.0, 63.2)
    assert found.verdict != verdict.NO_EVENT
    (hidden,) = of_kind(found, Why.HIDDEN)
    assert hidden.values["rpm_from"] < 4800 and hidden.values["rpm_to"] > 5500


def test_a_pull_that_is_missing_whole_is_told_and_not_calm(tmp_path):
    found = answered(tmp_path, 55.0, 68.0)
    assert found.verdict == verdict.NOT_ENOUGH and len(found.pulls) == 2
    (lost,), (gap,) = of_kind(found, Why.LOST_PULLS), of_kind(found, Why.GAPS)
    assert lost.values["pulls"] == 1 and "one marked pull was not recorded" in reason(lost)
    assert gap.values["gaps"] == 1 and gap.values["start_s"] <= 55.0 and gap.values["end_s"] >= 68.0


def test_a_pull_that_began_in_a_gap_begins_with_it(tmp_path):
    found = answered(tmp_path, 56.0, 63.2)
    assert found.verdict != verdict.NO_EVENT and len(found.pulls) == 3
    assert found.pulls[1].pull.start_s <= 56.0 and not of_kind(found, Why.LOST_PULLS)
    (hidden,) = of_kind(found, Why.HIDDEN)
    assert np.isnan(hidden.values["rpm_from"]) and "up to" in reason(hidden)


def test_a_recording_that_ends_under_load_is_told_and_not_calm(tmp_path):
    found = answered(tmp_path, until_s=61.0)
    assert found.verdict == verdict.NOT_ENOUGH
    (ends,) = of_kind(found, Why.ENDS_OPEN)
    assert ends.pull == 2 and 3500 < ends.values["rpm"] < 4800 and "recording ends under load" in reason(ends)


def test_a_gap_between_pulls_is_told_while_the_engine_ran(tmp_path):
    found = answered(tmp_path, 85.0, 88.0)
    (gap,) = of_kind(found, Why.GAPS)
    assert found.verdict == verdict.ATTENTION and 3.0 <= gap.values["seconds"] < 5.0
    assert not of_kind(answered(tmp_path, 85.0, 85.2), Why.GAPS)  # holds no pull


def test_what_counts_as_under_load_in_a_gap():
    time_s = np.arange(600) / RATE_HZ
    gone, loaded = np.zeros(600, bool), np.zeros(600, bool)
    gone[100:160] = gone[300:301] = True
    gone[350:590] = True  # 1.2 s, off load on both sides
    loaded[299] = True

    def found(loaded):
        span = stretches.Span(time_s, np.full(600, 3000.0), loaded, {stretches.NOT_RECORDED: gone}, 1 / RATE_HZ)
        return stretches.gaps(span)

    assert found(loaded).tolist() == [300 <= at < 301 or 350 <= at < 590 for at in range(600)]
    loaded[160] = True
    assert found(loaded)[100:160].all()


def test_a_recording_that_the_button_ended_under_load_is_told_and_not_calm():
    """No mark is open there: the press that ended it was withdrawn as one."""
    made = scene()
    marks = [(*span, False) for span in made.spans]
    assert not of_kind(answer.answer(StandInDrive(StandInSession(made.columns, marks))), Why.ENDS_OPEN)
    made.columns.throttle[-80:], made.columns.map_kpa[-80:] = 100.0, 175.0
    found = answer.answer(StandInDrive(StandInSession(made.columns, marks)))
    (ends,) = of_kind(found, Why.ENDS_OPEN)
    assert found.verdict == verdict.NOT_ENOUGH and reason(ends).startswith("the recording ends under load at 2")
