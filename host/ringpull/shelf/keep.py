"""A card judged and kept. No locks: every file is written aside and renamed, the row of the drive last.

That row is the commit: what is not named by one is unseen. Nothing is changed in place, so that whoever is killed
leaves either the old judgement or the new one, and files that nobody reads.
"""

from __future__ import annotations

import errno
import hashlib
import json
import secrets
import shlex
import time
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from ringpull.drive import read as read_drive
from ringpull.errors import BadUsage
from ringpull.files import dates
from ringpull.files.configuration import Configuration
from ringpull.shelf import calibrations, catalogue, judging, putting, ring_copy
from ringpull.shelf.places import Shelf, beside, car_name, parts_of
from ringpull.shelf.ring_copy import OtherRecording
from ringpull.shelf.tables import BESIDE
from ringpull.shelf.tidy import live_rows, whole
from ringpull.shelf.version import ANALYSIS
from shared_math import VERSION

DESK = "desk"  # the board of a dry run, whose rings share their ids
KEPT, LONGER, NOTED, AGAIN, REFUSED, NO_SETUP = "kept", "longer", "noted", "kept before", "refused", "no setup"
Row = dict[str, Any]


@dataclass(frozen=True)
class Told:
    """What somebody tells of the drives of a card; None for what they don't. on, sensor_fitted: a day as
    2026-04-01. sensor_fitted, change: "" takes back what was told before."""

    car: str
    on: str | None = None
    fuel: str | None = None
    sensor_fitted: str | None = None
    change: str | None = None
    invented: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of one session of a card. what: KEPT, LONGER (than the copy before), NOTED (told anew), AGAIN (kept
    before, nothing done) or NO_SETUP. day: "" where no date is known. ring: name of its ring's copy. sensor_day: when
    its lambda sensor was fitted, if that was told. missing_rows, missing_s: between its first row and its last, of
    span_s in all."""

    drive: str
    what: str
    day: str = ""
    date_from: str = ""
    verdict: str = ""
    pulls: int = 0
    ring: str = ""
    sensor_day: str = ""
    missing_rows: int = 0
    missing_s: float = 0.0
    span_s: float = 0.0


def keep(root: Path, source: Path, told: Told, ring: str | None = None) -> list[Outcome]:
    """Judge the sessions of a card and keep them. RingpullError where the card can't be read or is refused."""
    shelf, car = Shelf(root), car_name(told.car)
    shelf.refuse_file()
    content = ring_copy.fingerprint(source)
    note = shelf.source(judging.digest([content, ring, asdict(told), ANALYSIS]))
    known = kept_before(shelf, car, note)
    if known is not None:
        return known
    drive = read_drive(source, ring=ring)
    desk = [session.id for session in drive.sessions if session.board == DESK]
    if desk and not told.invented:
        raise BadUsage(
            f"{source} was recorded on a desk, by the demo or a dry run",
            "such recordings share their ring ids, so that a shelf can't tell them from each other by these",
            "to keep it all the same, among other invented drives, add --invented",
        )
    date = dates.driven(drive)
    out = []
    for session in drive.sessions:
        if session.assumed:
            out.append(Outcome(f"{drive.ring_id}-{session.id}", NO_SETUP))
            continue
        first = not out
        out.append(keep_session(shelf, car, drive, session, told, date, source, first))
    putting.put_bytes(note, json.dumps([asdict(one) for one in out]).encode())
    return out


def kept_before(shelf: Shelf, car: str, note: Path) -> list[Outcome] | None:
    """What was made of a card of this content, if the shelf holds it still; else None."""
    try:
        outcomes = [Outcome(**one) for one in json.loads(note.read_text())]
    except (OSError, ValueError, TypeError):
        return None
    out = []
    for one in outcomes:
        row = None if one.what == NO_SETUP else counted(shelf, car, one.drive)
        if one.what != NO_SETUP and (row is None or row["ring"] != one.ring):
            return None
        out.append(one if row is None else outcome(row, AGAIN))  # as the shelf has it now, not as it was kept
    return out


def counted(shelf: Shelf, car: str, name: str) -> Row | None:
    """The row that counts of a car's drive; None where there is none."""
    return next((row for row in catalogue.drives(shelf, car, name) if row["drive"] == name), None)


def keep_session(shelf: Shelf, car: str, drive, session, told: Told, date, source: Path, first: bool) -> Outcome:
    """One session kept. first: of those of its card, which the change was made before."""
    blocks, calibration = drive.blocks_of(session), None
    name, row = known_as(shelf, car, f"{drive.ring_id}-{session.id}", blocks, session)
    facts = notes(row, told, date, session, first)
    if row is not None:
        old = ring_copy.read(shelf.folder("rings", car) / row["ring"])
        merged = ring_copy.merge(old, blocks)
        assert merged is not None  # known_as has compared them
        same = all(row[key] == value for key, value in facts.items())
        judged = row["analysis"] == ANALYSIS
        if not merged.more_than_first and same and judged:
            return outcome(row, AGAIN)
        if not merged.more_than_first and judged:
            return outcome(noted(shelf, row, facts), NOTED)
        blocks, calibration = merged.blocks, calibrations.given(shelf, row)
        what = LONGER if merged.more_than_first else NOTED
    else:
        what = KEPT
    facts |= {"ring_id": drive.ring_id, "session": session.id, "source": str(source), "setup": setup_of(session)}
    return outcome(commit(shelf, car, name, facts, blocks, calibration), what)


def outcome(row: Row, what: str) -> Outcome:
    day = "" if row["date"] is None else row["date"].date().isoformat()
    sensor = "" if row["sensor_day"] is None else day_of(row["sensor_day"])
    span = row["end_row"] - row["first_row"]
    missing, rate = max(0, span - row["rows"]), row["rate_hz"]
    told = row["verdict"], row["pulls"], row["ring"], sensor
    return Outcome(row["drive"], what, day, row["date_from"], *told, missing, missing / rate, span / rate)


def setup_of(session) -> str:
    """Digest of what a session's setup says of its rows."""
    return judging.digest([session.config.written, [one.column for one in session.channels], session.period_s])


def known_as(shelf: Shelf, car: str, plain: str, blocks: np.ndarray, session) -> tuple[str, Row | None]:
    """(the drive's name, its row or None where it is new). plain: ring id and session. OtherRecording where that name
    is taken by another recording; an invented one gets a name of its own then."""
    desk = session.board == DESK
    named = f"{plain}-{hashlib.sha256(blocks.tobytes()).hexdigest()[:6]}" if desk else plain
    for row in catalogue.drives(shelf, drive=plain):
        old = ring_copy.read(shelf.folder("rings", row["car_name"]) / row["ring"])
        merged = ring_copy.merge(old, blocks)
        alike = merged is not None and row["setup"] == setup_of(session) and ring_copy.shared(old, blocks)
        if alike and row["car_name"] == car:
            return row["drive"], row
        if alike:
            raise BadUsage(
                f"this drive is on the shelf already, as one of the car {row['car_name']!r}",
                "the card was kept under another car's name, or the name is a slip",
                f"keep it with --car {shlex.quote(row['car_name'])}, or move it: "
                + shlex.join(["ringpull", "kept", str(shelf.root), "--move", row["drive"], "--car", car]),
            )
        if not desk:
            raise OtherRecording(
                f"another recording with the id {plain} is on the shelf, of the car {row['car_name']!r}",
                "its rows or its setup are others: a card was copied and used in two loggers, or a file was altered",
                "make the ring files of one of the cards anew with ringpull prepare; this session was not kept",
            )
    return named, None


def notes(row: Row | None, told: Told, date, session, first: bool) -> Row:
    """What a drive's row holds that its ring does not tell. row: the row before, whose notes stay where nothing new is
    told."""
    before = row or {}
    out: Row = {
        "sensor_day": before.get("sensor_day") if told.sensor_fitted is None else sensor_day(told.sensor_fitted),
        "change": before.get("change") if told.change is None or not first else told.change or None,
        "invented": session.board == DESK,
        "fuel": before.get("fuel") if told.fuel is None else told.fuel,
        "calibration_from": before.get("calibration_from", calibrations.RING),
    }
    if out["fuel"] is None:
        out["fuel"] = session.config.fuel.name if session.config.fuel else None
    if session.start_utc:
        moment, known_from = session.start_utc, session.start_from
    elif told.on is not None:
        moment, known_from = told.on, "told"
    elif before.get("date_from") == "told":
        return out | {key: before[key] for key in ("date", "date_from", "day", "month")}
    else:
        moment, known_from = date.day, date.known_from
    return out | dated(moment, known_from)


def dated(moment: str, known_from: str) -> Row:
    """The columns that hold a date."""
    if not moment:
        return {"date": None, "date_from": dates.UNKNOWN, "day": None, "month": None}
    when = datetime.fromisoformat(moment.replace("Z", "+00:00"))
    when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
    return {
        "date": when,
        "date_from": known_from,
        "day": round(when.timestamp() / 86400.0, 5),
        "month": when.strftime("%Y-%m"),
    }


def sensor_day(told: str) -> float | None:
    """The number of the day that was told, None where it is taken back."""
    return day_number(told) if told else None


def day_of(number: float) -> str:
    """The day with this number since 1970-01-01."""
    return datetime.fromtimestamp(number * 86400.0, UTC).date().isoformat()


def day_number(day: str) -> float:
    """Days since 1970-01-01."""
    return float(datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp() / 86400.0)


def commit(
    shelf: Shelf,
    car: str,
    name: str,
    facts: Row,
    blocks: np.ndarray | None = None,
    calibration: Configuration | None = None,
) -> Row:
    """Judge a drive and put it on the shelf; returns its row. facts: what its ring does not tell, `ring` among them
    where no blocks are given. Where somebody else kept more of the same session meanwhile, both are put together."""
    while True:
        part = secrets.token_hex(4)
        if blocks is not None:
            copy = shelf.file("rings", car, name, part, ".rpl")
            putting.put_bytes(copy, blocks.tobytes())
            facts = facts | {"ring": copy.name, "blocks": len(blocks)}
        judged = judging.judge(shelf.folder("rings", car) / facts["ring"], calibration)
        row = written(shelf, car, name, part, facts, judged)
        more = tidy_after(shelf, car, row)
        if more is None:
            return row
        blocks = more


def noted(shelf: Shelf, row: Row, facts: Row) -> Row:
    """A drive's judgement with other notes; returns its row. It is copied whole, under a part and with a ring of its
    own, so that whoever replaces it meanwhile takes nothing of it away."""
    car, name = row["car_name"], row["drive"]
    facts = {key: value for key, value in facts.items() if key != "calibration_from"}
    while True:
        copy = copied(shelf, row)
        if copy is None or not whole(shelf, car, {(name, row["part"])}, name):
            row = standing(shelf, row)
            continue
        # greater than what tidying makes of the row, less than any judgement that somebody else makes meanwhile
        content = putting.made("drives", [row | facts | copy | {"serial": row["serial"] + 2}])
        putting.put_table(shelf.file("drives", car, name, copy["part"]), "drives", content)
        made = content.to_pylist()[0]
        more = tidy_after(shelf, car, made)
        if more is not None:
            return commit(shelf, car, name, made | facts, more, calibrations.given(shelf, made))
        row = standing(shelf, row)
        if row["part"] == made["part"] or all(row[key] == value for key, value in facts.items()):
            return row


def standing(shelf: Shelf, row: Row) -> Row:
    """The row that a drive has by now. FileNotFoundError where somebody took the drive away."""
    found = counted(shelf, row["car_name"], row["drive"])
    if found is None:
        raise FileNotFoundError(errno.ENOENT, "the drive was taken away meanwhile", str(shelf.root))
    return found


def copied(shelf: Shelf, row: Row) -> Row | None:
    """The ring and the tables beside a drive's row written once more; returns the columns of the row that name them,
    None where somebody has replaced the drive."""
    import pyarrow as pa

    car, name, part = row["car_name"], row["drive"], secrets.token_hex(4)
    ring = shelf.file("rings", car, name, part, ".rpl")
    try:
        putting.put_bytes(ring, (shelf.folder("rings", car) / row["ring"]).read_bytes())
    except FileNotFoundError:
        if standing(shelf, row)["part"] == row["part"]:
            raise
        return None
    for table in BESIDE:
        files = [path for path in shelf.files(table, car) if catalogue.is_of(parts_of(path)[0], name)]
        found = live_rows(files, table, {(name, row["rows_part"] if table == "rows" else row["part"])})
        if found.num_rows:
            at = found.schema.get_field_index("part")
            parts = pa.array([part] * found.num_rows, pa.string())
            found = found.set_column(at, found.schema.field("part"), parts)
            putting.put_table(shelf.file(table, car, name, part), table, found)
    return {"part": part, "rows_part": part, "ring": ring.name}


def written(shelf: Shelf, car: str, name: str, part: str, facts: Row, judged: judging.Judgement) -> Row:
    """Every file of one judgement written, the drive's row last."""
    import pyarrow as pa

    keys = {"car_name": car, "drive": name, "part": part}
    for table in BESIDE:
        if table == "rows":
            content = samples_table(keys, judged)
        else:
            content = putting.made(table, [row | keys for row in judged.tables[table]])
        if content.num_rows:
            putting.put_table(shelf.file(table, car, name, part), table, content)
    about = {"analysis": ANALYSIS, "program": VERSION, "rows_part": part}
    before = [one["serial"] for one in catalogue.every_row(shelf, drive=name)]
    row = {**judged.drive, **about, **facts, **keys, "serial": max([time.time_ns(), *(one + 1 for one in before)])}
    content = putting.made("drives", [row])
    assert isinstance(content, pa.Table)
    putting.put_table(shelf.file("drives", car, name, part), "drives", content)
    return content.to_pylist()[0]


def samples_table(keys: Row, judged: judging.Judgement):
    """The rows of a drive's pulls as a table of the shelf."""
    import pyarrow as pa

    kinds, count = putting.schema("rows"), len(judged.samples["pull"])

    def column(field: pa.Field) -> pa.Array:
        if field.name in keys:
            return pa.array([keys[field.name]] * count, field.type)
        values = judged.samples[field.name]
        missing = np.isnan(values) if values.dtype.kind == "f" else None
        return pa.array(values, field.type, mask=missing, safe=False)

    return pa.Table.from_arrays([column(field) for field in kinds], schema=kinds)


def tidy_after(shelf: Shelf, car: str, row: Row) -> np.ndarray | None:
    """Take away the files that a drive's new row has superseded. Returns all blocks put together where another copy
    of the ring, kept by somebody else meanwhile, holds blocks that the new row's lacks; else None."""
    mine = ring_copy.read(shelf.folder("rings", car) / row["ring"])
    more, unlike = None, set()
    for path in sorted(shelf.folder("rings", car).glob(f"{row['drive']}_*.rpl")):
        if path.name == row["ring"]:
            continue
        try:
            other = ring_copy.read(path)
        except FileNotFoundError:
            continue
        merged = ring_copy.merge(mine, other)
        if merged is None:  # two recordings of one id, kept in the same moment
            unlike.add(path.name)
        elif merged.more_than_first:
            mine = more = merged.blocks
    if more is not None:
        return more
    for path in sorted(shelf.folder("drives", car).glob(f"{row['drive']}_*.parquet")):
        try:
            old = catalogue.read_rows(path)[0]
        except FileNotFoundError:
            continue
        if old["serial"] < row["serial"] and old["ring"] not in unlike:
            take_away(shelf, car, path, old, row["ring"])
    return None


def take_away(shelf: Shelf, car: str, path: Path, old: Row, ring: str) -> None:
    """A superseded row and the files that it names, the row first: whoever reads it while they go can tell. ring: the
    copy that stays."""
    putting.remove(path)
    for file in beside(shelf, car, *parts_of(path), tables=BESIDE):
        putting.remove(file)
    if old["ring"] != ring:
        putting.remove(shelf.folder("rings", car) / old["ring"])
