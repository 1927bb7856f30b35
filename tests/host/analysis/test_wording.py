"""Sentences keep their figures apart; states of a controller mean what the configuration says."""

import copy

import numpy as np
from analysis_scenes import CONFIG, rewriting, scene

from ringpull.analysis.judge import masks, session
from ringpull.analysis.judge.reasons import Why
from ringpull.report.words import live
from ringpull.said import Figure, capital, joined, kpa, lam, say
from ringpull.wording import reasons
from shared_math import config as shared_config
from shared_math import judging, layout


def test_a_range_of_pressures_is_never_torn_apart():
    load = say("load ", Figure(40, "load", 0), "-", kpa(195))
    assert load == "load 40-195 kPa" and "40-<span" in live(load) and "195\u00a0kPa" in live(load)
    assert live("40-195 kPa") == "40-195 kPa"  # a sentence without figures of its own is only text


def test_a_sentence_says_itself_whether_it_speaks_in_lambda():
    assert say("up to ", lam(0.015)).in_lambda and not say("at least 0.15 s of lambda").in_lambda
    assert live(say("up to ", lam(0.015), " <b>")) == '<span class="in-lambda">up to 0.015 &lt;b&gt;</span>'


def test_sentences_join_with_their_figures():
    both = joined([say("by ", kpa(12.4)), capital(say("more"))], "; ")
    assert both == "by 12 kPa; More" and Figure(12.4, "pressure", 0) in both.parts


def test_every_kind_of_reason_has_a_sentence():
    assert set(reasons._SAID) == set(Why)


def test_a_state_means_what_is_configured_whatever_its_name():
    made = scene(pulls=1)
    columns = made.columns
    off = (columns.time_s > 8.0) & (columns.time_s < 8.5)
    columns.lambda_[off] = np.nan
    for name, means, heats in (("warm spare", "off", False), ("stage 1", "heating", True), ("warming", None, True)):
        columns.states = {("lambda_1", name): off}
        state = {"name": name, "volts": [-1, 0]} | ({"means": means} if means else {})
        with rewriting(columns) as written:
            written["channels"][0]["states"] = [state]
        heating, other = masks.sensors_off(columns)
        assert (heating if heats else other)[off].all() and not (other if heats else heating)[off].any()


def test_the_check_takes_known_meanings_only():
    given = copy.deepcopy(CONFIG)
    given["channels"][0]["states"] = [{"name": "stage 1", "volts": [-1, 0], "means": "heating"}]
    assert not shared_config.check(given)
    given["channels"][0]["states"][0]["means"] = "hot"
    assert shared_config.check(given)
    assert judging.meaning({"name": "Warm-up"}) == "heating" and judging.meaning({"name": "error"}) is None


def test_masks_cannot_be_changed_once_made():
    made = session.prepare(scene(pulls=1).columns, identified=False).masks
    try:
        made.by_name["tip_in"] = made.lean_rail
    except TypeError:
        return
    raise AssertionError("a mask was written into")


def test_marks_and_flags_are_read_as_they_are_written():
    for pull in (1, 2, 300):
        assert layout.mark_open(layout.open_mark(pull)) and layout.mark_pull(layout.open_mark(pull)) == pull
        assert not layout.mark_open(layout.ended_mark(pull)) and layout.mark_pull(layout.ended_mark(pull)) == pull
        for kind in (layout.FLAG_SPOILED, layout.FLAG_VOID):
            flag = layout.flag_of(pull, kind)
            assert (layout.flag_pull(flag), layout.flag_kind(flag)) == (pull, kind)
    assert layout.mark_pull(0) == layout.flag_pull(0) == 0
