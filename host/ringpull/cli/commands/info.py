"""ringpull info: show what is on a card."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from ringpull.cli.options import add_ring
from shared_math import layout

if TYPE_CHECKING:
    from ringpull.drive import Drive
    from ringpull.session import Session, Timing

HELP = "show what is on a card: sessions, channels, marks, damage, timing health"
EXAMPLE = "ringpull info card"

EXAMINED_S = 3600.0  # how much of each session is examined, from its beginning
SHOWN = 12  # lines of damage and of gaps that are printed; --json has all


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", type=Path, metavar="SRC", help="ring file, folder of segments, or card folder")
    add_ring(parser)
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    parser.add_argument("--strict", action="store_true", help="exit code 1 if more than one ring holds drives")


def run(args: argparse.Namespace) -> int:
    import ringpull
    from ringpull.cli.terminal import progress

    with progress("reading") as show:
        drive = ringpull.read(args.source, show, args.ring)
    if args.json:
        import json

        print(json.dumps(as_json(drive), indent=1))
    else:
        print("\n".join([*as_lines(drive), *answer_of(drive)]))
    return 1 if args.strict and _several_hold_drives(drive) else 0


def as_json(drive: Drive) -> dict:
    """Everything about the drive, as JSON."""
    from ringpull.files.dates import driven
    from ringpull.wording import instruments

    date = driven(drive)
    sessions = [_session_json(session, drive.before_utc(session.id)) for session in drive.sessions]
    blocks = drive.blocks
    return {
        "sessions": sessions,
        "date": {"day": date.day, "from": date.known_from},
        "rings": [asdict(ring) for ring in drive.rings],
        "blocks": {
            "read": blocks.read,
            "damaged": blocks.damaged,
            "missing": blocks.missing,
            "foreign": blocks.foreign,
            "refused": blocks.refused,
        },
        "damage": [{"block": one.block, "file": one.file, "reason": one.reason} for one in drive.damage],
        "instruments": [instruments.as_json(one) for one in drive.instruments(EXAMINED_S)],
        "undecoded": [{"session": session, "blocks": count} for session, count in drive.undecoded.items()],
    }


def answer_of(drive: Drive) -> list[str]:
    """The drive's verdict, cause and warnings, if it is short enough to be judged while somebody waits."""
    if sum(session.duration_s - session.start_s for session in drive.sessions) > EXAMINED_S:
        return ["answer   not judged here, as the drive is long: use ringpull report"]
    from ringpull.analysis.answer import answer
    from ringpull.cli.answer_lines import verdict_lines

    return ["", *verdict_lines(answer(drive))]


def _session_json(session: Session, before_utc: str | None) -> dict:
    from ringpull.wording import calibrated, refused

    return {
        "id": session.id,
        "start_utc": session.start_utc,
        "start_from": session.start_from,
        "before_utc": before_utc,
        "rows": session.rows,
        "lost_rows": session.lost_rows,
        "start_s": session.start_s,
        "duration_s": session.duration_s,
        "rate_hz": session.rate_hz,
        "channels": [channel.column for channel in session.channels],
        "marks": [_seconds(mark.start_s) for mark in session.marks],
        "pulls": [
            {
                "id": m.id,
                "start_s": _seconds(m.start_s),
                "end_s": _seconds(m.end_s),
                "spoiled": m.spoiled,
                "void": m.void,
            }
            for m in session.marks
        ],
        "gaps": [{"start_s": start, "end_s": end, "reason": reason} for start, end, reason in session.gaps()],
        "timing": asdict(session.timing),
        "firmware": session.firmware,
        "board": session.board,
        "faults": session.faults,
        "lamp_faults": [
            {"fault": number, "start_s": _seconds(a), "end_s": _seconds(b)}
            for number, times in session.lamp_faults.items()
            for a, b in times
        ],
        "bus": _bus_json(session),
        "inputs": [calibrated.as_json(one) for one in calibrated.inputs(session.config)],
        "lean_warnings": [{"start_s": _seconds(a), "end_s": _seconds(b)} for a, b in session.lean_warnings],
        "setup": session.assumed or "its own",
        "refused_config": None if session.refused_config is None else refused.what(session.refused_config),
    }


def _when(times: list[tuple[float, float]]) -> str:
    """The first few of some spans."""
    at = ", ".join(f"{start:.1f}-{end:.1f} s" for start, end in times[:SHOWN])
    rest = len(times) - SHOWN
    return f"at {at}{f', and {rest} times more' if rest > 0 else ''}"


def _bus_said(session: Session):
    """What the car's computer said (analysis.car.CarSaid); None without a bus, or where the session is too long to be
    examined while somebody waits."""
    from ringpull.analysis import car

    return None if session.duration_s - session.start_s > EXAMINED_S else car.of_session(session, [])


def _bus_json(session: Session) -> dict | None:
    from ringpull.wording import car as words

    said = _bus_said(session)
    return said and words.as_json(said)


def _seconds(time_s: float | None) -> float | None:
    """Rounded to the microsecond, the resolution of the file."""
    return None if time_s is None else round(time_s, 6)


def as_lines(drive: Drive) -> list[str]:
    """The lines to print."""
    from ringpull.files.dates import driven
    from ringpull.wording import instruments

    out = []
    every = drive.instruments(EXAMINED_S)
    for session in drive.sessions:
        told = [f"    {line}" for line in instruments.lines([one for one in every if one.session == session.id])]
        out += [*_session_lines(session, drive.before_utc(session.id)), *(["  instruments", *told] if told else []), ""]
    out.append(f"date     {driven(drive).words}")
    blocks = drive.blocks
    out.append(f"blocks   {blocks.read} read, {blocks.damaged} damaged, {blocks.missing} missing")
    if blocks.foreign or blocks.refused:
        out[-1] += f", {blocks.foreign} of other rings, {blocks.refused} refused"
    for session, count in drive.undecoded.items():
        out.append(f"         {count} blocks of session {session} can't be decoded: its setup blocks are lost")
    out += _grouped(drive)
    return out + _ring_lines(drive)


def _ring_lines(drive: Drive) -> list[str]:
    """A line for each ring of the files, if there are several."""
    if len(drive.rings) < 2:
        return []
    out = ["rings    the card was used before; its earlier drives stay until they are overwritten"]
    for ring in drive.rings:
        shown = ", shown here" if ring.id == drive.ring_id else f": read it with --ring {ring.id}"
        which = "newest, the card's" if ring.newest else "older"
        out.append(f"  {ring.id}  {which}, {ring.sessions} session{'' if ring.sessions == 1 else 's'}{shown}")
    return out


def _several_hold_drives(drive: Drive) -> bool:
    """Whether more than one ring of the card has sessions, so that the wrong one may have been read."""
    return sum(ring.sessions > 0 for ring in drive.rings) > 1


def _session_lines(session: Session, before_utc: str | None) -> list[str]:
    from ringpull.files.dates import began_words
    from ringpull.wording import calibrated, refused

    began = f", began {began_words(session, before_utc)}" if session.start_utc or before_utc else ""
    head = (
        f"session {session.id}: {session.rows} rows, {_clock(session.duration_s)} at {session.rate_hz:g} rows/s{began}"
    )
    out = [head]
    if session.assumed:
        out.append(f"  setup   {session.assumed}")
    if session.refused_config is not None:
        out.append(f"  config  {refused.what(session.refused_config)}; likely cause: {refused.CAUSE}")
    if session.start_s:
        out.append(
            f"  begins  {_clock(session.start_s)} after power-on: earlier rows were overwritten or are not in this file"
        )
    out.append("  columns " + ", ".join(channel.column for channel in session.channels))
    inputs: dict[str, list[str]] = {}
    for one in calibrated.inputs(session.config):
        inputs.setdefault(calibrated.last(one), []).append(one.name)
    out += [f"  inputs  {', '.join(names)}: {said}" for said, names in inputs.items()]
    marks = [
        f"{m.start_s:.2f}-{'...' if m.end_s is None else format(m.end_s, '.2f')} s" + _flags(m) for m in session.marks
    ]
    out.append("  marks   " + (", ".join(marks) if marks else "none"))
    if session.lean_warnings:
        out.append(f"  lamp    warned of lean mixture {_when(session.lean_warnings)}")
    timing = session.timing
    words = [f"{timing.lost_rows or 'no'} rows lost"]
    if timing.late_us_max is not None:
        sample = timing.late_blocks
        of = "" if sample is None else f", judged from {sample} blocks spread over the session"
        words.append(f"rows up to {timing.late_us_max} us late (99 of 100 at most {timing.late_us_p99} us{of})")
    words += [f"{n} pulses of {name} rejected as interference" for name, n in timing.rejected_edges.items() if n]
    out.append("  timing  " + ", ".join(words))
    out += _health_lines(timing)
    out += _bus_lines(session)
    from shared_math import faults as shared_faults

    for number in session.faults:
        _, what, cause, step = shared_faults.fault(number)
        out.append(f"  fault   {number}: {what}; likely cause: {cause}; what to do: {step}")
    for number, times in session.lamp_faults.items():
        if number not in session.faults:
            _, what, cause, step = shared_faults.fault(number)
            out.append(
                f"  lamp    told fault {number} {_when(times)}: {what}; likely cause: {cause}; what to do: {step}"
            )
    gaps = session.gaps()
    out += [f"  gap     {start:.3f}-{end:.3f} s: {reason}" for start, end, reason in gaps[:SHOWN]]
    if len(gaps) > SHOWN:
        out.append(f"          and {len(gaps) - SHOWN} more")
    return out


def _health_lines(timing: Timing) -> list[str]:
    """Stalls, memory and supply, as far as the file records them."""
    words = []
    stall_ms, heap_kb, dips = timing.stall_ms_max, timing.heap_kb_least, timing.supply_dips
    if stall_ms is not None:
        words.append(f"longest stall {stall_ms} ms" if stall_ms else f"no stall of {layout.STALL_LEAST_MS} ms or more")
    if heap_kb is not None:
        words.append(f"at least {heap_kb} kB of memory free")
    if dips is not None:
        words.append(
            f"supply below {layout.DIP_V:g} V {'once' if dips == 1 else f'{dips} times'}"
            if dips
            else f"supply never below {layout.DIP_V:g} V"
        )
    return ["  health  " + ", ".join(words)] if words else []


def _bus_lines(session: Session) -> list[str]:
    from ringpull.wording import car as words

    said = _bus_said(session)
    return [f"  bus     {line}" for line in words.how_it_was(said)] if said else []


def _flags(mark) -> str:
    if mark.void:
        return " (void: the press was withdrawn, so it is not a pull)"
    return " (spoiled: flagged by a double press; shown, not judged)" if mark.spoiled else ""


def _grouped(drive: Drive) -> list[str]:
    """The damage, a line for each run of neighbouring blocks with the same reason."""
    out: list[str] = []
    stretches: list[list] = []
    for one in drive.damage:
        last = stretches[-1] if stretches else None
        if last and last[0] == (one.file, one.reason) and last[2] == one.block - 1:
            last[2] = one.block
        else:
            stretches.append([(one.file, one.reason), one.block, one.block])
    for (file, reason), first, last in stretches[:SHOWN]:
        which = f"block {first}" if first == last else f"blocks {first}-{last}"
        out.append(f"  {file} {which}: {reason}")
    if len(stretches) > SHOWN:
        out.append(f"  and {len(stretches) - SHOWN} more; --json lists all damage")
    return out


def _clock(seconds: float) -> str:
    """A time as 12.3 s, 1:02.3 min or 1:02:03.4 (hours, minutes, seconds)."""
    if seconds < 60:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds, 1), 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02d}:{rest:04.1f}" if hours else f"{minutes}:{rest:04.1f} min"
