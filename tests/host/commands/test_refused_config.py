"""A recording whose configuration this program can't use: every command says so, with the reason."""

import json

import pytest
from ring_bytes import CONFIG, Ring
from truth import desk

import ringpull

NEWER = CONFIG | {"version": 9}
REASON = "version 9 is newer than this program"
SAID = f"configuration in the recording can't be used: {REASON}"


def recorded(folder, *settings):
    """A session of each of the configurations."""
    blocks = []
    for number, config in enumerate(settings, 1):
        ring = Ring(session=number, sequence=len(blocks))
        ring.setup(config=config)
        ring.numbered(0, 600)
        blocks += ring.blocks
    source = folder / "drive.rpl"
    source.write_bytes(b"".join(blocks))
    return source


@pytest.fixture
def newer(tmp_path):
    return recorded(tmp_path, NEWER)


def flat(text):
    return " ".join(text.split())


def test_info_tells_the_reason(newer):
    done = desk.command("info", newer)
    assert f"  config  the {SAID}" in done.stdout and "likely cause: the logger was newer" in done.stdout
    (session,) = json.loads(desk.command("info", newer, "--json").stdout)["sessions"]
    assert SAID in session["refused_config"] and session["channels"] == []


def test_the_answer_begins_with_the_reason_and_what_to_do(newer):
    done = desk.command("pulls", newer)
    verdict, steps = flat(done.stdout).split("Verdict: ")[1].split("What to do next:")
    assert done.returncode == 0 and verdict.startswith(
        f"not enough data - There is not enough data for an answer: the {SAID}"
    )
    assert steps.strip().startswith("- Read this drive with the newest version") and "ringpull rejudge" in steps
    assert "Log the missing channels" not in steps


def test_commands_without_a_verdict_tell_it_as_a_note(newer):
    assert SAID in desk.command("fuelmap", newer).stderr


def test_a_session_beside_is_named(tmp_path):
    source = recorded(tmp_path, CONFIG, NEWER)
    assert f"configuration of session 2 can't be used: {REASON}" in flat(desk.command("pulls", source).stdout)
    told = json.loads(desk.command("info", source, "--json").stdout)["sessions"]
    assert told[0]["refused_config"] is None and REASON in told[1]["refused_config"]


def test_no_calm_answer_beside_a_session_that_could_not_be_used():
    from types import SimpleNamespace

    from ringpull.analysis import signs
    from ringpull.analysis.judge import verdict
    from ringpull.analysis.judge.reasons import Why

    pull = SimpleNamespace(
        number=1, spoiled=False, lean_events=[], spoiled_events=[], judged_s=3.0, excess_max=0.0, blind=[], hidden=(),
        spool=None, beyond_target=(), excess_at_rpm=4000.0, rpm_from=2500.0, rpm_to=6000.0,
    )  # fmt: skip
    sessions = [SimpleNamespace(id=1, refused_config=None), SimpleNamespace(id=2, refused_config=("newer_version",))]
    calm, _ = verdict.decide([pull], [], 0.001, 0.05)
    word, reasons = verdict.decide([pull], [], 0.001, 0.05, (), verdict.Signs(refused=signs.refused(sessions)))
    assert (calm, word) == (verdict.NO_EVENT, verdict.NOT_ENOUGH)
    assert reasons[0].kind is Why.REFUSED_CONFIG and reasons[0].values["sessions"] == (2,)


def test_the_right_configuration_lifts_it(newer):
    from ringpull.ring.rows.setup import usable_config

    drive = ringpull.read(newer)
    (session,) = drive.calibrated_by(usable_config(CONFIG)).sessions
    assert drive.sessions[0].refused_config is not None and session.refused_config is None
    assert "map_kpa" in session.frame() and "map_kpa" not in drive.sessions[0].frame()
