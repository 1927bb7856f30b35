"""Ring files hurt in any way: both readers give the same rows, all of them true, or say that none are left."""

import zlib

import pytest
import second_reader
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from property_examples import examples
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

import ringpull
from ringpull.errors import RingpullError

SLOT = 512


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The slots in use of a short drive with a marked pull, and its rows by the second reader."""
    signals = Signals(
        holds([2000, 5000], 6.0, 4.0),
        Tach(2, glitches=True),
        {"lambda_1": Profile([(0, 0.8), (16, 1.2)])},
        presses_s=[6, 10],
    )
    card = desk.dry_run(signals, tmp_path_factory.mktemp("whole"))
    data = (card / "drive.rpl").read_bytes()
    used = max(at for at in range(len(data) // SLOT) if any(data[at * SLOT : (at + 1) * SLOT])) + 1
    slots = [data[at * SLOT : (at + 1) * SLOT] for at in range(used)]
    (session,) = second_reader.read_ring(card / "drive.rpl").sessions.values()
    return slots, session.rows


def sealed(slot, at, value):
    """A slot with one byte changed and its checksum made right again."""
    block = bytearray(slot)
    block[at] = value
    block[508:] = zlib.crc32(block[:508]).to_bytes(4, "little")
    return bytes(block)


HURTS = {
    "a wrong bit": lambda slots, a, b: [*slots[:a], flipped(slots[a], b), *slots[a + 1 :]],
    "nothing written": lambda slots, a, b: [*slots[:a], bytes(SLOT), *slots[a + 1 :]],
    "another block's copy": lambda slots, a, b: [*slots[:a], slots[b % len(slots)], *slots[a + 1 :]],
    "another ring's block": lambda slots, a, b: [*slots[:a], sealed(slots[a], 5, slots[a][5] ^ 0x55), *slots[a + 1 :]],
    "a newer version": lambda slots, a, b: [*slots[:a], sealed(slots[a], 2, 2), *slots[a + 1 :]],
    "an unknown kind": lambda slots, a, b: [*slots[:a], sealed(slots[a], 3, 77), *slots[a + 1 :]],
    "an unknown optional kind": lambda slots, a, b: [*slots[:a], sealed(slots[a], 3, 200), *slots[a + 1 :]],
    "begun elsewhere in the ring": lambda slots, a, b: [*slots[a:], *slots[:a]],
    "cut off": lambda slots, a, b: slots[: max(a, 1)],
    "half a block": lambda slots, a, b: [*slots[:a], slots[a][:256] + slots[b % len(slots)][256:], *slots[a + 1 :]],
    "sequence near its wrap": lambda slots, a, b: [wrapped(slot) if any(slot) else slot for slot in slots],
}


def flipped(slot, bit):
    block = bytearray(slot)
    block[bit // 8 % SLOT] ^= 1 << bit % 8
    return bytes(block)


def wrapped(slot):
    """The block with its sequence moved so that the wrap from 2^32 - 1 to 0 falls into the file."""
    block = bytearray(slot)
    sequence = (int.from_bytes(block[8:12], "little") + 2**32 - 12) % 2**32
    block[8:12] = sequence.to_bytes(4, "little")
    block[508:] = zlib.crc32(block[:508]).to_bytes(4, "little")
    return bytes(block)


@examples(80, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(
    hurts=st.lists(st.tuples(st.sampled_from(sorted(HURTS)), st.integers(0, 2**16), st.integers(0, 2**16)), max_size=8)
)
def test_both_readers_agree_on_hurt_files(whole, tmp_path, hurts):
    slots, rows = whole
    wraps = [hurt for hurt in hurts if hurt[0] == "sequence near its wrap"][:1]
    for name, a, b in [*wraps, *(hurt for hurt in hurts if hurt not in wraps and hurt[0] != "sequence near its wrap")]:
        slots = HURTS[name](slots, a % len(slots), b)
    path = tmp_path / "drive.rpl"
    path.write_bytes(b"".join(slots))
    other = second_reader.read_ring(path)
    try:
        drive = ringpull.read(path)
    except RingpullError as error:
        assert error.exit_code in (2, 3)
        assert not any(session.rows for session in other.sessions.values())
        return
    assert {session.id for session in drive.sessions if session.rows} == set(other.sessions)
    for session in drive.sessions:
        raw = session.raw().set_index("row")
        expected = other.sessions[session.id].rows
        assert raw.index.tolist() == list(expected)
        assert [tuple(row) for row in raw.to_numpy().tolist()] == list(expected.values())
        for number, row in expected.items():
            assert rows[number] == row
