"""The last resort for rows whose setup blocks are lost: logger.json beside the ring file, if the rows fit it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from ringpull.ring.blocks.source import RingFile
from ringpull.ring.rows import setup as read_setup
from ringpull.ring.rows import unpack
from ringpull.ring.rows.setup import Setup
from shared_math import channels

NAME = "logger.json"
MOST_BYTES = 1 << 20
USUAL_CONVERTER = (12, 3.3, 0)  # bits, volts and skew of the boards' own converters, if no other session gives them
ASSUMED = "taken from logger.json beside the file, which may differ from the setup of the recording"


def setup_beside(files: list[RingFile], others: list[Setup]) -> Setup | None:
    """The setup that logger.json beside the files would give; None if there is no usable one.

    others: setups of other sessions. An analog column that one of them has in the same place is taken from it.
    """
    for folder in {file.path.parent: None for file in files} | {file.path.parent.parent: None for file in files}:
        text = _read(folder / NAME)
        if text is not None:
            return _of_config(text, others)
    return None


def _read(path: Path) -> bytes | None:
    try:
        if not path.is_file() or path.stat().st_size > MOST_BYTES:
            return None
        return path.read_bytes()
    except OSError:
        return None


def _of_config(text: bytes, others: list[Setup]) -> Setup | None:
    given = read_setup.json_object(text)
    config = read_setup.usable_config(given)
    if not config.channels:
        return None
    try:
        columns = channels.columns(config.written, lambda name: USUAL_CONVERTER)
        told = {"period_us": 1000000 // config.rate_hz, "columns": columns, "config": given}
        setup = read_setup.parse(json.dumps(told).encode())
    except (ValueError, KeyError, TypeError, IndexError, ZeroDivisionError):
        return None
    known = {one.name: one for other in others for one in other.columns if one.role == "adc"}
    usual = [known.get(one.name, one) if one.role == "adc" else one for one in setup.columns]
    return replace(setup, columns=usual, assumed=ASSUMED)


def fits(blocks: np.ndarray, setup: Setup) -> bool:
    """Whether row blocks, (n, 512) uint8, can have been written with these columns: all are consistent, and only zeros
    follow their values."""
    if not len(blocks):
        return False
    ends = unpack.ends(blocks, setup.bits)
    if (ends < 0).any() or unpack.unpack(blocks, setup.bits).bad.any():
        return False
    streams = (int.from_bytes(block[:508].tobytes(), "little") for block in blocks)
    return not any(stream >> end for stream, end in zip(streams, ends.tolist(), strict=True))
