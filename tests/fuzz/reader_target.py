"""Target of the coverage-guided fuzzer: `reader_target.py CORPUS [libFuzzer options]`.

Input bytes are instructions that hurt a small ring file: flip, copy, cut, reseal. The reader must raise nothing but its
own errors and give the rows that the second reader gives. What differs ends the run with a traceback and the input.
"""

from __future__ import annotations

import sys
import tempfile
import zlib
from pathlib import Path

import atheris

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

with atheris.instrument_imports(include=["ringpull.ring", "ringpull.drive"]):
    import ringpull
    import ringpull.drive
    from ringpull.ring.blocks import order, scan, store  # noqa: F401
    from ringpull.ring.rows import sessions, setup, unpack  # noqa: F401
    from ringpull.ring.values import service  # noqa: F401

import second_reader  # noqa: E402
from ring_bytes import Ring  # noqa: E402

from ringpull.errors import RingpullError  # noqa: E402

SLOT = 512
FOLDER = Path(tempfile.mkdtemp())


def clean() -> list[bytes]:
    """Two sessions, a mark, plain and packed blocks, lost rows, the sequence's wrap: some 20 blocks."""
    ring = Ring(sequence=2**32 - 9)
    ring.setup()
    ring.numbered(0, 150)
    ring.rows(170, [ring.row(n, mark=1) for n in range(170, 200)], lost=20, plain=True)
    ring.session = 2
    ring.setup()
    ring.numbered(0, 60, flag=2)
    return ring.blocks


CLEAN = clean()


def hurt(data: bytes) -> list[bytes]:
    """The file that the instructions make of CLEAN: five bytes each (what, which slot, where, where, value)."""
    slots = list(CLEAN)
    for at in range(0, len(data) - 4, 5):
        what, slot, low, high, value = data[at : at + 5]
        slot %= len(slots)
        place = (low | high << 8) % SLOT
        block = bytearray(slots[slot])
        if what % 8 == 0:
            block[place] ^= value
        elif what % 8 == 1:  # a byte changed and the checksum made right
            block[place] = value
            block[508:] = zlib.crc32(block[:508]).to_bytes(4, "little")
        elif what % 8 == 2:
            slots.insert(value % len(slots), bytes(block))
        elif what % 8 == 3 and len(slots) > 2:
            del slots[slot]
            continue
        elif what % 8 == 4:
            slots[slot], slots[value % len(slots)] = slots[value % len(slots)], slots[slot]
            continue
        elif what % 8 == 5:
            block = bytearray(SLOT)
        elif what % 8 == 6:  # a header field and the checksum made right: where the rules are
            block[2 + place % 20] = value
            block[508:] = zlib.crc32(block[:508]).to_bytes(4, "little")
        else:
            block = bytearray(block[:place] + slots[value % len(slots)][place:])
        slots[slot] = bytes(block)
    return slots[:200]


def rows_of_second(path: Path) -> dict[int, dict]:
    """Rows by session."""
    ring = second_reader.read_ring(path)
    return {number: session.rows for number, session in ring.sessions.items() if session.rows}


def test_one_input(data: bytes) -> None:
    path = FOLDER / "drive.rpl"
    path.write_bytes(b"".join(hurt(data)))
    expected = rows_of_second(path)
    got = {}
    try:
        drive = ringpull.read(path)
        for session in drive.sessions:
            raw = session.raw()
            session.frame()
            assert (raw["row"].astype("int64").diff().dropna() > 0).all()
            assert session.marks is not None and session.timing is not None and session.gaps() is not None
            if len(raw):
                table = raw.drop(columns="row").to_numpy().tolist()
                got[session.id] = dict(zip(raw["row"].tolist(), map(tuple, table), strict=True))
        assert drive.blocks.read >= 0 and drive.damage is not None
    except RingpullError:
        pass
    if got != expected:
        raise AssertionError("the two readers differ")


if __name__ == "__main__":
    atheris.Setup(sys.argv, test_one_input)
    atheris.Fuzz()
