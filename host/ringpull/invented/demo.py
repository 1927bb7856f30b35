"""The demo up to the reader: the signal files of the invented drive, and the firmware run on them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ringpull.dryrun import run
from ringpull.invented import computer, instruments, scenario, truth

Progress = Callable[[float], None]


def write_signals(folder: Path, seed: int, progress: Progress | None = None, mended: bool = False) -> Path:
    """Write signal files, logger.json and truth.json to folder/signals and return it. mended: with a new fuel pump."""
    signals = folder / "signals"
    drive = scenario.simulate(seed, progress, mended)
    signals.mkdir(parents=True, exist_ok=True)
    instruments.write(drive, signals, seed)
    truth.write(drive, signals, seed)
    computer.write(drive, signals, seed, () if mended else (computer.PENDING,))
    return signals


def run_firmware(folder: Path, seed: int, progress: Progress | None = None) -> Path:
    """Run the firmware on folder/signals, with folder/card as its card, and return that folder."""
    signals = folder / "signals"
    return run.dry_run(
        signals / "logger.json",
        signals / "volts.csv",
        signals / "edges.csv",
        signals / "buttons.csv",
        folder / "card",
        seed=seed,
        progress=progress,
        replace=True,
        bus=computer.car(signals),
    ).card
