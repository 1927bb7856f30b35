"""Lines and heads of the cable: whole ones are read, others are not; the page says what the module says."""

import re
from binascii import crc32
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from ringpull.cable.link import Link
from shared_math import cable, cable_bench

PAGE = (Path(cable.__file__).parent / "CABLE.md").read_text()
WORD = st.text("abcdefghijklmnopqrstuvwxyz0123456789_-", min_size=1, max_size=8)
WORDS = st.lists(WORD, min_size=1, max_size=3)
NUMBER = st.integers(0, 0xFFFF)
PAYLOAD = st.binary(max_size=cable.MOST_PAYLOAD)


class Bytes:
    """A port that gives these bytes, so many at a time, and then nothing."""

    port = "here"

    def __init__(self, data, step):
        self.data, self.step, self.written = data, step, b""

    in_waiting = 0

    def read(self, _count):
        out, self.data = self.data[: self.step], self.data[self.step :]
        return out

    def write(self, data):
        self.written += data


def answer_of(number, words, payload):
    return cable.head(number, tuple(words), payload) + payload.ljust(cable.filled(len(payload)), b"\x1e")


@given(NUMBER, WORDS)
def test_a_line_is_read_as_it_was_made(number, words):
    line = cable.line(number, words)
    assert line[0] == cable.START and line.endswith(b"\n") and b"\x03" not in line
    assert cable.read_line(line) == (number, words)


@given(NUMBER, WORDS, st.data())
def test_a_line_with_one_byte_changed_is_none(number, words, data):
    line = bytearray(cable.line(number, words)[:-1])
    at = data.draw(st.integers(0, len(line) - 1))
    new = data.draw(st.integers(0, 255).filter(lambda byte: byte != line[at]))
    line[at] = new
    told = cable.read_line(line)
    assert told is None or bytes(line).lower() == cable.line(number, words)[:-1]  # a digit's other case says the same


@given(NUMBER, WORDS, PAYLOAD)
def test_a_head_is_one_packet(number, words, payload):
    head = cable.head(number, tuple(words), payload)
    assert len(head) == cable.PACKET
    assert cable.read_head(head) == (number, words, len(payload), crc32(payload))


@given(st.lists(st.binary(max_size=90), min_size=3, max_size=3), PAYLOAD, PAYLOAD, st.integers(1, 700))
def test_an_answer_is_found_among_anything(noise, old, payload, step):
    """Noise that happens to hold a whole answer is beyond this; an answer to an older request is dropped."""
    link = Link(Bytes(b"", step))  # pyright: ignore[reportArgumentType]
    link.send("now")
    data = noise[0] + answer_of(link.number - 1 & 0xFFFF, ["now", "0", "0"], old) + noise[1]
    data += answer_of(link.number, ["state"], old) + answer_of(link.number, ["now", "2", "31"], payload) + noise[2]
    link.port.data = data  # pyright: ignore[reportAttributeAccessIssue]
    assert link.answer() == (["now", "2", "31"], payload)


@given(PAYLOAD.filter(bool), st.data())
def test_an_answer_that_was_hurt_is_none(payload, data):
    """Filling may be hurt: a head's spaces carry nothing."""
    link = Link(Bytes(b"", 64))  # pyright: ignore[reportArgumentType]
    link.number = 500
    link.send("setup", "0")
    whole = bytearray(answer_of(link.number, ["setup", "0"], payload))
    at = data.draw(st.integers(0, cable.PACKET + len(payload) - 1))
    whole[at] ^= 1 << data.draw(st.integers(0, 7))
    link.port.data = bytes(whole)  # pyright: ignore[reportAttributeAccessIssue]
    answer = link.answer(0.0)
    assert answer is None or answer == (["setup", "0"], payload)


def test_the_page_names_what_the_module_names():
    asked = re.findall(r"^\| `([a-z]+)[^`]*` \| `", PAGE, re.M)
    assert tuple(asked) == cable.ASKED + cable_bench.ASKED
    assert f"base64 of at most {cable_bench.PIECE} bytes" in PAGE and f"(2 to {cable_bench.MOST_ROWS})" in PAGE
    assert f"`{cable_bench.CONFIG_FILE}` for logger.json" in PAGE
    assert f"`{cable_bench.HISTORY_FILE}` for the history" in PAGE
    assert cable_bench.HISTORY in PAGE
    assert f"version of this page: {cable.VERSION}" in PAGE
    assert f"at most {cable.MOST_LINE} bytes" in PAGE and f"exactly {cable.PACKET} bytes" in PAGE
    assert f"(0 to {cable.MOST_PAYLOAD}, decimal)" in PAGE
    assert f"`{cable.DRIVE_FILE}` for drive.rpl, `{cable.PULLS_FILE}` for pulls.rpl" in PAGE
    assert "`refused WHY`" in PAGE and cable.REFUSED == "refused"
    whys = ("unknown", "words", "no_card", "unreadable", "no_clock", "bench", "no_file", "no_output", "not_there")
    assert all(f"`{why}`" in PAGE for why in (*whys, "stopped"))


def test_the_example_of_a_request():
    """From the page: CRC-32 of everything before the space in front of it."""
    assert cable.line(12, ["blocks", "p", "40", "8"]) == b"\x1e12 blocks p 40 8 %08x\n" % crc32(b"\x1e12 blocks p 40 8")
