"""Inputs and outputs that people do not make on purpose: each ends in an answer or in three lines, never a
traceback."""

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading

import pytest
from ring_bytes import Ring, resealed
from truth import desk

import ringpull
from ringpull.errors import CannotWrite, SourceChanged
from ringpull.files.outputs import whole
from ringpull.ring.blocks import scan

COMMANDS = [
    ("info",),
    ("pulls",),
    ("report", "-o", "out.html"),
    ("fuelmap",),
    ("power",),
    ("decode", "-o", "out.csv"),
]


def command(folder, *words):
    """In a process of its own, whose output has an encoding."""
    process = [sys.executable, "-m", "ringpull", *words]
    return subprocess.run(process, capture_output=True, text=True, errors="replace", cwd=folder, timeout=300)


def here(folder, *words):
    with contextlib.chdir(folder):
        return desk.command(*words)


def blocks():
    ring = Ring()
    ring.setup()
    ring.numbered(0, 300)
    return ring.blocks


@pytest.fixture
def source(tmp_path):
    (tmp_path / "drive.rpl").write_bytes(b"".join(blocks()))
    return tmp_path


def no_traceback(done):
    assert "Traceback" not in done.stderr and done.returncode in (0, 1, 2, 3), done.stderr
    return done


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_rows_that_do_not_add_up_as_the_only_ones(tmp_path, words):
    hurt = [resealed(one, at_22=255, at_23=255, at_24=255) if one[3] == 2 else one for one in blocks()]
    (tmp_path / "drive.rpl").write_bytes(b"".join(hurt))
    done = no_traceback(here(tmp_path, words[0], "drive.rpl", *words[1:]))
    assert done.returncode == 3 and "rows are inconsistent, although the checksums are right" in done.stderr


def test_rows_that_do_not_add_up_beside_a_session_that_does(tmp_path):
    first = [resealed(one, at_22=255, at_23=255, at_24=255) if one[3] == 2 else one for one in blocks()]
    second = Ring(session=2, sequence=len(first))
    second.setup()
    second.numbered(0, 300)
    (tmp_path / "drive.rpl").write_bytes(b"".join([*first, *second.blocks]))
    done = no_traceback(here(tmp_path, "info", "drive.rpl", "--json"))
    told = json.loads(done.stdout)
    assert told["undecoded"] == [{"session": 1, "blocks": sum(one[3] == 2 for one in first)}]
    assert [one["id"] for one in told["sessions"]] == [2]


def test_a_speed_channel_of_the_setup_that_has_no_column_is_no_speed(tmp_path):
    ring = Ring()
    ring.columns = [one for one in ring.columns if not one["n"].startswith("engine_speed")]
    ring.bits, ring.names = ([one[key] for one in ring.columns] for key in ("b", "n"))
    ring.setup()
    ring.numbered(0, 300)
    (tmp_path / "drive.rpl").write_bytes(ring.data())
    assert ringpull.read(tmp_path / "drive.rpl").sessions[0].turns("engine_speed") == []
    no_traceback(here(tmp_path, "power", "drive.rpl", "--mass", "950", "--gear", "60"))


NOTES = {
    "deeply nested": "[" * 100_000,
    "half a surrogate pair": '{"1": "a \\ud800 b"}',
    "no object": "[1]",
    "huge": '"' + "x" * (5 << 20) + '"',
}


@pytest.mark.parametrize("notes", NOTES)
@pytest.mark.parametrize("words", [("pulls",), ("report", "-o", "out.html")], ids=lambda words: words[0])
def test_remarks_of_any_kind(source, notes, words):
    (source / "drive.rpl.notes.json").write_text(NOTES[notes])
    done = no_traceback(here(source, words[0], "drive.rpl", *words[1:]))
    if words[0] == "report":
        assert done.returncode == (0 if "surrogate" in notes else 2)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_remarks_that_are_a_pipe_are_not_waited_for(source):
    os.mkfifo(source / "drive.rpl.notes.json")
    done = no_traceback(here(source, "report", "drive.rpl", "-o", "out.html"))
    assert done.returncode == 2 and "notes.json does not hold readable remarks" in done.stderr


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="file names are text on this system")
def test_file_names_that_are_no_text(source):
    """All commands in one process: loading their libraries takes most of their time."""
    os.rename(source / "drive.rpl", os.fsencode(source) + b"/g\xff.rpl")
    name = os.fsdecode(b"g\xff.rpl")
    named = [[words[0], name, *(one.replace("out", os.fsdecode(b"o\xfe")) for one in words[1:])] for words in COMMANDS]
    code = f"from ringpull.cli import main\nprint([main.main(words) for words in {named!a}])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, errors="replace", cwd=source)
    assert done.returncode == 0 and "Traceback" not in done.stderr, done.stderr
    codes = json.loads(done.stdout.splitlines()[-1])
    assert len(codes) == len(COMMANDS) and set(codes) <= {0, 3}, done.stderr
    assert {os.fsdecode(b"o\xfe.html"), os.fsdecode(b"o\xfe.csv")} <= set(os.listdir(source))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_as_output(source):
    os.mkfifo(source / "out.csv")
    read = []
    reader = threading.Thread(target=lambda: read.append((source / "out.csv").read_text()))
    reader.start()
    no_traceback(command(source, "decode", "drive.rpl", "-o", "out.csv"))
    reader.join()
    assert len(read[0].splitlines()) == 301


def test_a_source_that_shrinks_is_told_as_such(source):
    drive = ringpull.read(source / "drive.rpl")
    os.truncate(source / "drive.rpl", 1024)
    with pytest.raises(SourceChanged) as error:
        drive.sessions[0].frame()
    assert "became shorter" in error.value.what
    with pytest.raises(SourceChanged), whole(source / "out"):
        scan.read_fully(os.open(source / "drive.rpl", os.O_RDONLY), memoryview(bytearray(5000)), 0)


def test_two_writers_of_one_output_do_not_clash(tmp_path):
    out = tmp_path / "out.csv"
    with whole(out) as first:
        with whole(out) as second:
            assert first != second
            first.write_text("first")
            second.write_text("second")
        assert out.read_text() == "second"
    assert out.read_text() == "first" and list(tmp_path.iterdir()) == [out]
    assert out.stat().st_mode & 0o777 == 0o666 & ~_umask()


def _umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CannotWrite), whole(tmp_path / "none" / "out.csv"):
        raise AssertionError("there is no place to write to")


def test_a_command_that_is_asked_to_end_leaves_no_half_file(tmp_path):
    code = (
        "import os, signal, time\n"
        "from pathlib import Path\n"
        "from ringpull.cli import main\n"
        "from ringpull.files.outputs import whole\n"
        "main._end_tidily()\n"
        f"with whole(Path({str(tmp_path / 'out.csv')!r})) as fresh:\n"
        "    fresh.write_text('half')\n"
        "    print('begun', flush=True)\n"
        "    time.sleep(600)\n"
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
    assert process.stdout.readline().strip() == b"begun" and len(list(tmp_path.iterdir())) == 1
    process.send_signal(signal.SIGTERM)
    assert process.wait(300) == 128 + signal.SIGTERM and list(tmp_path.iterdir()) == []
