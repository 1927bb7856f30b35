"""Ring files made on the PC: faster than on the board, and filled with zeros instead of the card's old content."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from ringpull.errors import BadUsage, CannotWrite
from shared_math import channels, layout

PIECE = 1 << 20
# The factor by which packing shrinks rows: measured with twelve noisy channels (DEVELOPERS.md, decision 5)
PACKED = 4.1
FILES = (("drive.rpl", layout.DRIVE_FILE, 0), ("pulls.rpl", layout.PULLS_FILE, 0xFFFFFFFF))


def prepare(
    card: Path, config: Path | None, drive_mb: int, pulls_mb: int, progress: Callable[[float], None] | None = None
) -> list[Path]:
    """Make drive.rpl and pulls.rpl in the folder `card`, copy the configuration there, and return the paths written.

    Sizes are in MB of 2^20 bytes. Existing ring files are never changed. Raises BadUsage, BadConfig, CannotWrite.
    """
    from ringpull.dryrun.run import load_config

    if not card.is_dir():
        raise BadUsage(f"{card} is not a folder", "the card is not mounted there", "give the card's folder or drive")
    there = [name for name, _, _ in FILES if (card / name).exists()]
    if there:
        raise BadUsage(
            f"{card} already holds {' and '.join(there)}",
            "the card was prepared before, and may hold drives",
            "copy the drives you want to keep to the PC, then remove the files and prepare the card again; to change "
            "only logger.json, copy it onto the card",
        )
    text = load_config(config)[1] if config else None
    need = (drive_mb + pulls_mb) << 20
    if shutil.disk_usage(card).free < need + PIECE:
        raise CannotWrite(
            f"{card} has not enough room for {drive_mb} + {pulls_mb} MB",
            "other files fill it",
            "remove them, or make the files smaller with --drive-mb and --pulls-mb",
        )
    ring_id = secrets.token_bytes(4)
    half_made = {card / name: card / (name.removesuffix(".rpl") + ".tmp") for name, _, _ in FILES}
    done = 0
    try:
        for (name, which, sequence), size_mb in zip(FILES, (drive_mb, pulls_mb)):
            with open(half_made[card / name], "wb") as f:
                f.write(layout.birth(ring_id, which, (size_mb << 20) // layout.SLOT, sequence))
                f.write(bytes(PIECE - layout.SLOT))
                for _ in range(size_mb - 1):
                    f.write(bytes(PIECE))
                    done += PIECE
                    if progress:
                        progress(done / need)
        written = list(half_made)
        if text is not None:
            (card / "logger.json").write_bytes(text)
            written.append(card / "logger.json")
        for path, tmp in half_made.items():
            tmp.rename(path)
    except BaseException as error:
        for tmp in half_made.values():
            with suppress(OSError):
                tmp.unlink()
        if not isinstance(error, OSError):
            raise
        raise CannotWrite(
            f"{card} could not be written: {error.strerror or error}",
            "the card is write-protected, was taken out, or is worn out",
            "check its lock slide and that it is pushed in, and try again; if that fails too, format it (FAT32)",
        ) from error
    return written


def hours(settings: dict[str, Any], size_mb: int) -> tuple[float, float]:
    """(least, usual) hours of driving that a drive.rpl of this size holds before the oldest rows are overwritten.

    settings: a configuration with its defaults. Least: for rows that do not shrink at all. Usual: for rows that shrink
    by PACKED, but at least one block a second, since a block is closed once a second.
    """
    table = channels.columns(settings, lambda _input: (12, 3.3, 0))
    row_bytes = sum(column["b"] for column in table) / 8
    room = size_mb << 20

    def lasts(bytes_a_row: float) -> float:
        blocks_a_second = max(1.0, settings["rate_hz"] * bytes_a_row / layout.PAYLOAD)
        return room / layout.SLOT / blocks_a_second / 3600

    return lasts(row_bytes), lasts(row_bytes / PACKED)
