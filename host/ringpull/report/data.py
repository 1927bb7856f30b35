"""Every sample of a drive, packed for the page: columns of 16-bit codes, differences split into bytes, gzip, base64.

A column from a converter has few, evenly spaced values; its codes count these steps, so nothing is rounded. Any other
column is divided into 65,534 steps over its range. NO_VALUE stands for NaN.
"""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from ringpull.analysis import car
from ringpull.analysis.drive_state import roles, sensor_range
from ringpull.files.configuration import ConfiguredChannel
from ringpull.report.answer_part import Numbered
from ringpull.wording import events as event_words
from shared_math.obd import status

NO_VALUE = -32768
LEVEL = 2  # gzip level; 6 takes twice the time for a tenth less
PROBE = 20_000


def step_of(values: np.ndarray) -> float:
    """The even spacing of a column's values; 0.0 if they have none. values: (n,), finite."""
    few = np.unique(values[:: max(1, len(values) // PROBE)])
    apart = np.diff(few)
    apart = apart[apart > 1e-9 * max(1.0, float(np.abs(few).max()))]
    if not len(apart):
        return 0.0
    step = float(apart.min())
    total = float(few[-1] - few[0])
    if total / step > 60_000:
        return 0.0
    step = total / round(total / step)
    place = (values - values.min()) / step
    return step if float(np.abs(place - np.round(place)).max()) < 0.02 else 0.0


def codes(values: np.ndarray) -> tuple[np.ndarray, float, float]:
    """(int16 (n,), scale, offset): value = offset + scale * code, NO_VALUE for NaN."""
    good = np.isfinite(values)
    out = np.full(len(values), NO_VALUE, np.int16)
    if not good.any():
        return out, 1.0, 0.0
    known = values[good]
    low, high = float(known.min()), float(known.max())
    step = step_of(known)
    scale = step or (high - low) / 65534 or 1.0
    first = -32767 if not step or (high - low) / step > 32000 else 0
    out[good] = (np.round((known - low) / scale) + first).astype(np.int16)
    return out, scale, low - first * scale


def packed(columns: list[np.ndarray]) -> str:
    """int16 columns of equal length as text.

    Each column's low bytes, then high bytes, of its differences (modulo 65,536, the first from 0); gzip; base64.
    """
    parts = []
    for column in columns:
        bits = column.view(np.uint16)
        steps = np.diff(bits, prepend=np.uint16(0)).astype("<u2").view(np.uint8)
        parts += [steps[0::2].tobytes(), steps[1::2].tobytes()]
    return base64.b64encode(gzip.compress(b"".join(parts), LEVEL, mtime=0)).decode("ascii")


def runs_of(rows: np.ndarray) -> list[list[int]]:
    """[first row, count] of each run of rows without a gap. rows: (n,) rising row numbers."""
    if not len(rows):
        return []
    cuts = np.flatnonzero(np.diff(rows) != 1) + 1
    starts = np.concatenate([[0], cuts])
    ends = np.concatenate([cuts, [len(rows)]])
    return [[int(rows[a]), int(b - a)] for a, b in zip(starts, ends, strict=True)]


def role_of(channel: ConfiguredChannel, lambda_names: set[str]) -> str:
    """The panel of a channel: "lambda", "speed" or a panel of its own."""
    if channel.kind == "lambda":
        return "lambda" if channel.name in lambda_names else "commanded"
    return "speed" if channel.counts_crank else ""


def described(session) -> list[dict]:
    """Column, label, unit and role of each channel of a session, for the page."""
    lambdas = {c.name for c in roles.lambda_channels([c.config for c in session.channels])}
    return [
        {
            "column": channel.column,
            "label": channel.label,
            "unit": "rpm" if channel.unit == "rpm" else channel.unit,
            "role": role_of(channel.config, lambdas),
        }
        | words_of(channel)
        for channel in session.channels
    ]


def words_of(channel) -> dict[str, dict[str, str]]:
    """What the numbers of a channel mean that tells states; nothing for any other."""
    if channel.config.pid != car.FUEL_STATE:
        return {}
    return {"words": {str(number): words for number, words in status.FUEL_STATES.items()}}


def judged_columns(judged, times: np.ndarray) -> dict[str, np.ndarray]:
    """Corrected lambda (of each bank, by its channel), its target, and 1 where the engine was under load, else 0.

    At the times of a session's rows. Where the sensor was at an end of its range it did not measure, so corrected
    lambda is NaN there.
    """
    columns = judged.columns
    if not len(columns):
        return {}
    at = np.round(columns.place(times)).astype(int)
    at = np.clip(at, 0, len(columns) - 1)
    low, high = sensor_range.lambda_range(columns.config)
    every = {"lambda": (judged.lambda_aligned, ~judged.masks.by_name["saturation"])}
    if len(judged.banks) > 1:
        for name in judged.banks:
            rich_rail, lean_rail = sensor_range.rails(columns.of_bank(name))
            at_rail = (rich_rail | lean_rail)[judged.banks[name].aligned.sensor_row]
            every[name] = (judged.each_bank[name], ~at_rail)
        del every["lambda"]
    out = {}
    for name, (undone, inside) in every.items():
        with np.errstate(invalid="ignore"):
            measured = (undone >= low) & (undone <= high) & inside
        out[name + "_aligned"] = np.where(measured, undone, np.nan)[at]
    loaded = np.where(judged.loaded, 1.0, 0.0)
    return out | {"lambda_target": judged.target[at], "loaded": loaded[at]}


def packed_as(listed: list[dict], arrays: list[np.ndarray]) -> str:
    """The columns as text; the scale and offset of each are added to its entry in `listed`."""
    coded = []
    for one, values in zip(listed, arrays, strict=True):
        column, one["scale"], one["offset"] = codes(values)
        coded.append(column)
    return packed(coded)


def session_data(session) -> tuple[dict, str]:
    """(a session's description for the page, the samples of its channels as text)."""
    table = session.awake.table()
    times = table["time_s"]
    listed = described(session)
    text = packed_as(listed, [np.asarray(table[one["column"]], float) for one in listed])
    told = {
        "id": session.id,
        "period_s": session.period_s,
        "rows": len(times),
        "runs": runs_of(np.round(times / session.period_s).astype(np.int64)),
        "columns": listed,
    }
    return told, text


def judged_data(session, judged) -> tuple[list[dict], str]:
    """(description, samples as text) of the columns that the analysis adds."""
    added = judged_columns(judged, session.awake.table()["time_s"])
    labels = {channel.name + "_aligned": channel.label for channel in session.channels}
    listed = judged_described(added, labels)
    return listed, packed_as(listed, list(added.values()))


def judged_described(added: Iterable[str], labels: dict[str, str]) -> list[dict]:
    """The description of the columns of judged_columns(), for the page. labels: labels of lambda columns."""
    known = {"lambda_target": ("target", "target"), "loaded": ("under load", "loaded")}
    out = []
    for name in added:
        label, role = known.get(name, (f"{labels.get(name, 'lambda')}, corrected", "aligned"))
        out.append({"column": name, "unit": "", "label": label, "role": role})
    return out


class Packing:
    """session_data() of a drive's sessions, made in a second thread while the answer is worked out.

    Coding and compressing release Python's lock.
    """

    def __init__(self, drive) -> None:
        for session in drive.sessions:
            session.awake.table()  # decoded here, once, since both threads need it
        pool = ThreadPoolExecutor(1)
        self._made = [pool.submit(session_data, session) for session in drive.sessions]
        pool.shutdown(wait=False)

    def made(self) -> list[tuple[dict, str]]:
        """The result for each session, in order; waits until it is complete."""
        return [one.result() for one in self._made]


def marked(drive) -> list[dict]:
    """The marked pulls for the traces, before the drive is judged."""
    marks = [(s, m) for s in drive.sessions for m in s.marks if not m.void]
    return [
        {
            "kind": "pull",
            "number": at + 1,
            "session": session.id,
            "start_s": round(mark.start_s, 4),
            "end_s": round(session.duration_s if mark.end_s is None else mark.end_s, 4),
        }
        for at, (session, mark) in enumerate(marks)
    ]


def spans(answer, events: list[Numbered]) -> list[dict]:
    """Pulls, lean events and the lamp's warnings, for the traces."""
    out = [
        {
            "kind": "pull",
            "number": p.number,
            "session": p.pull.session,
            "start_s": round(p.pull.start_s, 4),
            "end_s": round(p.pull.end_s, 4),
        }
        for p in answer.pulls
    ]
    out += [
        {
            "kind": "lean",
            "number": e.number,
            "session": e.pull.pull.session,
            "pull": e.pull.number,
            "rpm_from": round(e.event.rpm_from),
            "rpm_to": round(e.event.rpm_to),
            "words": str(event_words.event(e.event)),
            "start_s": round(e.event.start_s, 4),
            "end_s": round(e.event.end_s, 4),
        }
        for e in events
    ]
    return out + [lamp_span(one.session, one.start_s, one.end_s) for one in answer.warned]


def lamp_span(session: int, start_s: float, end_s: float) -> dict:
    """A warning of the logger's lamp, for the traces."""
    return {
        "kind": "lamp",
        "number": 0,
        "session": session,
        "start_s": round(start_s, 4),
        "end_s": round(end_s, 4),
    }


def as_script(value: object) -> str:
    """JSON that is safe inside a script element, whatever its texts contain."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e").replace("\u2028", "\\u2028")
