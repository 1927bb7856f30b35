"""The parts of an answer as plain dicts, as in --json: figures rounded to what is significant, sentences made here."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np

from ringpull.analysis.cells.banks import Banks
from ringpull.analysis.cells.repeat import Repeat
from ringpull.analysis.delay import align
from ringpull.analysis.delay.align import Aligned
from ringpull.analysis.delay.identify import Identified
from ringpull.analysis.drive_state import roles
from ringpull.analysis.judge import lean_events
from ringpull.analysis.judge.holes import Hole
from ringpull.analysis.judge.lean_events import LeanEvent
from ringpull.analysis.judge.other_events import OtherEvent
from ringpull.analysis.judge.session import Judged
from ringpull.wording import across as across_words
from ringpull.wording import delay as delay_words
from ringpull.wording import events
from ringpull.wording import holes as hole_words


def number(value, digits: int):
    """The value rounded, or None for None and NaN, which JSON lacks."""
    if value is None or not np.isfinite(value):
        return None
    return round(float(value), digits) if digits else round(float(value))


def alignment_json(judged: Judged) -> dict:
    """The delay and lag that were removed, and their source; of several banks also each under its own name."""
    out = _alignment(judged, judged.aligned, judged.identified)
    if len(judged.banks) > 1:
        out["banks"] = {name: _alignment(judged, one.aligned, one.identified) for name, one in judged.banks.items()}
        config = judged.columns.config
        out["source"] = "; ".join(f"{roles.called(config, at)}: {one['source']}" for at, one in out["banks"].items())
    return out


def _alignment(judged: Judged, aligned: Aligned, identified: Identified | None) -> dict:
    model, full_g_s = aligned.model, aligned.flow.full_g_s
    estimate = None if identified is None else identified.estimate
    return {
        "delay_s_at": align.delay_table(judged.columns, model, full_g_s),
        "tau_s": round(model.tau_s, 4),
        "tau_u": round(model.tau_u_s, 4),
        "source": delay_words.source(model.source),
        "kind": model.kind,
        "constant_s": round(model.constant_s, 4),
        "cycle_deg": model.cycle_deg,
        "volume_l": round(model.volume_l, 3),
        "volume_u_l": round(model.volume_u_l, 3),
        "noise_gain": round(aligned.noise_gain, 2),
        "estimate_s_at": None if estimate is None else align.delay_table(judged.columns, estimate, full_g_s),
    }


def uncertainty_json(judged: Judged) -> dict:
    """The uncertainty budget of a judged lambda: 95 % half-widths, and the standard uncertainty of each part."""
    budget = judged.budget
    return {
        "random_95": round(lean_events.EXPANDED * judged.random_u, 4),
        "systematic_95": round(lean_events.EXPANDED * budget.systematic, 4),
        "at_lambda": round(budget.at_lambda, 3),
        "window_s": lean_events.WINDOW_S,
        "parts": [{"name": p.name, "u": round(p.u, 5), "kind": p.kind, "source": p.source} for p in budget.parts],
    }


def event_json(event: LeanEvent) -> dict:
    """A lean event as a plain dict, with figures rounded to what is significant."""
    return {
        "start_s": round(event.start_s, 3),
        "end_s": round(event.end_s, 3),
        "rpm_from": round(event.rpm_from),
        "rpm_to": round(event.rpm_to),
        "load_from": number(event.load_from, 1),
        "load_to": number(event.load_to, 1),
        "load_unit": event.load_unit,
        "deepest_s": round(event.deepest_s, 3),
        "deepest_rpm": round(event.deepest_rpm),
        "depth": round(event.depth, 4),
        "depth_u": round(event.depth_u, 4),
        "systematic_u": round(event.systematic_u, 4),
        "exposure_s": round(event.exposure_s, 5),
        "chance": round(event.chance, 6),
        "bound": event.bound,
        "hints": [events.hint(hint) for hint in event.hints],
        "bank": event.bank,
        "target": number(event.target, 4),
    }


def repeat_json(one: Repeat) -> dict:
    """Repeatability as a plain dict."""
    facts = asdict(one)
    worst = facts.pop("worst_bank")
    figures = {name: plain(fact) for name, fact in facts.items()}
    return {**figures, "words": across_words.repeat(one), "worst_bank": worst}


def banks_json(one: Banks) -> dict:
    """The difference of two banks as a plain dict."""
    return {
        "names": plain(one.names),
        "cells": [plain(asdict(cell)) for cell in one.cells],
        "words": across_words.banks(one),
    }


def place_json(hole: Hole) -> dict:
    """A lean place as a plain dict."""
    cell = None if hole.cell is None else plain(rounded(asdict(hole.cell)))
    return {
        "sentence": hole_words.sentence(hole),
        "cause": hole_words.cause(hole),
        "pulls": list(hole.pulls),
        "of": hole.of,
        "bank": hole.event.bank,
        "rpm_from": round(hole.rpm_from),
        "rpm_to": round(hole.rpm_to),
        "lambda": round(hole.measured, 4),
        "lambda_u": round(hole.half_width, 4),
        "target": round(hole.event.target, 4),
        "share": round(hole.share, 4),
        "seconds": round(hole.seconds, 3),
        "cell": cell,
    }


def other_json(event: OtherEvent) -> dict:
    """Another event as a plain dict."""
    names = ("kind", "start_s", "end_s", "size")
    return {name: getattr(event, name) for name in names} | {"words": events.other(event)}


def plain(value):
    """Nested dicts and lists with None instead of NaN, which JSON lacks."""
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    return None if isinstance(value, float) and not np.isfinite(value) else value


def rounded(record: dict) -> dict:
    """A flat record with its numbers rounded to what is significant, and None instead of NaN."""
    return {key: number(one, 4) if isinstance(one, float) else one for key, one in record.items()}
