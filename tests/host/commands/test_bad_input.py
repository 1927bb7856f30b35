"""Bad input to every command: three lines on stderr (what, cause, what to do), exit code 2 or 3, no traceback."""

import json
import shutil
import zlib

import pytest
from truth import desk
from truth.profile import Profile, holds
from truth.signals import Signals, Tach

from shared_math import layout

# The first bytes of any JPEG with an application segment, then what compressed pictures look like: noise
JPEG = bytes.fromhex("ffd8ffe000104a46494600010100000100010000") + bytes(
    (7 * n * n + 13 * n) % 251 for n in range(6000)
)
SOURCE_COMMANDS = ["info", "decode", "pulls", "note", "report"]
BAD_SOURCES = {
    "missing": None,
    "empty": b"",
    "jpeg": JPEG,
    "text": b"t_s,lambda_1\n0.0,0.85\n" * 200,
    "zeros": bytes(512 * 40),
    "truncated": "cut",
}


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """Signal files and a card that are as they should be."""
    folder = tmp_path_factory.mktemp("good")
    signals = Signals(holds([2000, 3000], 4.0, 2.0), Tach(2), {"lambda_1": Profile([(0, 0.9), (10, 1.0)])})
    desk.dry_run(signals, folder)
    return folder


def words_for(name, source, folder):
    more = {
        "decode": ["-o", folder / "out.csv"],
        "report": ["-o", folder / "out.html"],
        "note": ["1", "a remark"],
    }
    return [name, source, *more.get(name, [])]


def assert_told(done, codes=(2, 3)):
    """Three lines, each a sentence of its own, and no look into the program."""
    assert "Traceback" not in done.stderr + done.stdout
    assert done.returncode in codes, done.stdout + done.stderr
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    assert len(lines) == 3, done.stderr
    assert len(set(lines)) == 3 and all(len(line.strip()) > 8 for line in lines), done.stderr
    assert not any(word in done.stderr for word in ("ValueError", "KeyError", "OSError", "Errno", "Exception")), (
        done.stderr
    )


def test_the_good_ones_are_good(good):
    """Else everything below could pass for the wrong reason."""
    for name in ("info", "decode", "pulls", "report"):
        done = desk.command(*words_for(name, good / "card", good))
        assert done.returncode in (0, 3) if name == "report" else done.returncode == 0, done.stdout + done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize("bad", BAD_SOURCES)
@pytest.mark.parametrize("name", SOURCE_COMMANDS)
def test_bad_source(good, tmp_path, name, bad):
    content = BAD_SOURCES[bad]
    source = tmp_path / "drive.rpl"
    if content == "cut":
        content = (good / "card" / "drive.rpl").read_bytes()[:700]
    if content is not None:
        source.write_bytes(content)
    assert_told(desk.command(*words_for(name, source, tmp_path)))
    assert not list(tmp_path.glob("out.*")), "a file was left behind by a command that failed"


@pytest.mark.parametrize("name", SOURCE_COMMANDS)
def test_a_folder_without_ring_files(tmp_path, name):
    (tmp_path / "holiday.jpg").write_bytes(JPEG)
    assert_told(desk.command(*words_for(name, tmp_path, tmp_path)))


@pytest.mark.parametrize("name", ["info", "decode", "pulls"])
def test_a_ring_file_cut_in_the_middle_is_read_as_far_as_it_goes(good, tmp_path, name):
    data = (good / "card" / "drive.rpl").read_bytes()
    (tmp_path / "drive.rpl").write_bytes(data[: 512 * 12 + 77])
    done = desk.command(*words_for(name, tmp_path / "drive.rpl", tmp_path))
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    if name == "decode":
        assert 50 < len((tmp_path / "out.csv").read_text().splitlines()) < 3000


def test_output_that_cannot_be_written(good, tmp_path):
    card = good / "card"
    assert_told(desk.command("decode", card, "-o", tmp_path / "out.xyz"))
    (tmp_path / "folder.csv").mkdir()
    assert_told(desk.command("decode", card, "-o", tmp_path / "folder.csv"))


def dryrun_with(good, tmp_path, name, content):
    """A dry run of the good files with one of them replaced."""
    folder = tmp_path / "signals"
    folder.mkdir()
    for file in ("logger.json", "volts.csv", "edges.csv", "buttons.csv"):
        shutil.copy(good / file, folder / file)
    if content is None:
        (folder / name).unlink()
    else:
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    words = ["dryrun", "--config", folder / "logger.json", "--volts", folder / "volts.csv"]
    words += ["--edges", folder / "edges.csv", "--buttons", folder / "buttons.csv", "-o", tmp_path / "card"]
    return desk.command(*words)


@pytest.mark.parametrize("name", ["logger.json", "volts.csv", "edges.csv", "buttons.csv"])
@pytest.mark.parametrize("bad", ["missing", "empty", "jpeg"])
def test_bad_dry_run_files(good, tmp_path, name, bad):
    assert_told(dryrun_with(good, tmp_path, name, BAD_SOURCES[bad]), (2,))


BAD_CSV = {
    "text in volts": ("volts.csv", "t_s,lambda_1\n0.0,1.2\n0.5,warm\n1.0,1.3\n"),
    "text in time": ("volts.csv", "t_s,lambda_1\nstart,1.2\n0.5,1.2\n"),
    "no time column": ("volts.csv", "time,lambda_1\n0.0,1.2\n0.5,1.2\n"),
    "time falls": ("volts.csv", "t_s,lambda_1\n0.0,1.2\n1.0,1.2\n0.5,1.2\n"),
    "a short line": ("volts.csv", "t_s,lambda_1,map\n0.0,1.2,2\n1.0,1.2\n"),
    "nothing but a head": ("volts.csv", "t_s,lambda_1\n"),
    "a column twice": ("volts.csv", "t_s,lambda_1,lambda_1\n0.0,1.2,1.3\n1.0,1.2,1.3\n"),
    "time of day in microseconds": ("volts.csv", "t_s,lambda_1\n0.0,1.2\n43200000000,1.2\n"),
    "an edge far away": ("edges.csv", "t_s,input\n0.1,engine_speed\n1e12,engine_speed\n"),
    "a press far away": ("buttons.csv", "t_s,event\n1e300,press\n"),
    "not a number": ("volts.csv", "t_s,lambda_1\n0.0,nan\n1.0,inf\n"),
    "text in edges": ("edges.csv", "t_s,input\n0.1,engine_speed\nsoon,engine_speed\n"),
    "an unknown input": ("edges.csv", "t_s,input\n0.1,engine_speed\n0.2,turbo_speed\n"),
    "edges without head": ("edges.csv", "0.1,engine_speed\n0.2,engine_speed\n"),
    "an unknown event": ("buttons.csv", "t_s,event\n1.0,press\n1.1,let go\n"),
    "text in a press": ("buttons.csv", "t_s,event\nnow,press\n"),
}


@pytest.mark.parametrize("bad", BAD_CSV)
def test_bad_csv(good, tmp_path, bad):
    name, content = BAD_CSV[bad]
    assert_told(dryrun_with(good, tmp_path, name, content), (2,))


def test_spaces_in_a_header_are_passed_over(good, tmp_path):
    spaced = (good / "volts.csv").read_text().replace(",", ", ", 1)
    done = dryrun_with(good, tmp_path, "volts.csv", spaced)
    assert done.returncode == 0 and "not used" not in done.stderr, done.stdout + done.stderr


def changed(good, **top):
    config = json.loads((good / "logger.json").read_text())
    config.update(top)
    return config


def first_channel(good, **keys):
    config = changed(good)
    config["channels"][0].update(keys)
    return config


BAD_CONFIG = {
    "unknown key on top": lambda good: changed(good, rate_herz=200),
    "unknown key in a channel": lambda good: first_channel(good, per_revolution=2),
    "unknown kind": lambda good: first_channel(good, kind="tacho"),
    "no channels": lambda good: changed(good, channels=[]),
    "text for a number": lambda good: changed(good, rate_hz="fast"),
    "a rate of zero": lambda good: changed(good, rate_hz=0),
    "newer version": lambda good: changed(good, version=99),
    "a name twice": lambda good: changed(good, channels=changed(good)["channels"] * 2),
    "target of an unknown channel": lambda good: changed(
        good, target={"load": "boost", "load_kpa": [40, 100], "lambda": [1.0, 0.9]}
    ),
    "a list": lambda good: [changed(good)],
    "a number": lambda good: 7,
}


@pytest.mark.parametrize("bad", BAD_CONFIG)
def test_bad_configuration(good, tmp_path, bad):
    done = dryrun_with(good, tmp_path, "logger.json", json.dumps(BAD_CONFIG[bad](good)))
    assert_told(done, (2,))
    if bad.startswith("unknown key"):
        assert {"unknown key on top": "rate_herz", "unknown key in a channel": "per_revolution"}[bad] in done.stderr


@pytest.mark.parametrize(
    "text",
    ['{"version": 1,', "{'version': 1}", '{"version": 1, "version": 1, "channels": []}', "\ufeff\x00\x01", "NaN", ""],
)
def test_configuration_that_is_no_json(good, tmp_path, text):
    assert_told(dryrun_with(good, tmp_path, "logger.json", text), (2,))


@pytest.mark.parametrize(
    "words", [[], ["nonsense"], ["info"], ["decode"], ["decode", "x.rpl"], ["info", "--nonsense", "x"]]
)
def test_bad_usage(words):
    done = desk.command(*words)
    assert "Traceback" not in done.stderr
    assert done.returncode == 2 or not words, done.stdout + done.stderr
    assert done.stderr.strip() or done.stdout.strip()


@pytest.mark.parametrize("between", [";", "\t"])
@pytest.mark.parametrize("name", ["volts.csv", "edges.csv", "buttons.csv"])
def test_a_spreadsheet_of_another_country_is_told(good, tmp_path, name, between):
    text = (good / name).read_text().replace(",", between).replace(".", ",")
    done = dryrun_with(good, tmp_path, name, text)
    assert_told(done, (2,))
    assert ("semicolons" if between == ";" else "tabs") in done.stderr


@pytest.mark.parametrize("seed", ["-1", "1.5", "x"])
def test_a_seed_that_is_none(good, seed):
    words = ["dryrun", "--config", good / "logger.json", "--volts", good / "volts.csv", "-o", good / "card"]
    assert_told(desk.command(*words, "--seed", seed), (2,))


def recorded_by(board, data):
    """A desk board's ring file as another board would have written it; its name must be as long."""
    out = bytearray(data)
    for at in range(0, len(out) - layout.SLOT + 1, layout.SLOT):
        block = out[at : at + layout.SLOT]
        if block[layout.AT_KIND] == layout.SETUP and b'"board": "desk"' in block.replace(b'":"', b'": "'):
            body = block[: layout.AT_CRC].replace(b'"desk"', f'"{board}"'.encode(), 1)
            out[at : at + layout.SLOT] = body + zlib.crc32(body).to_bytes(4, "little")
    assert out != data
    return bytes(out)


def test_a_dry_run_never_replaces_a_real_drive(good, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    for name in ("drive.rpl", "pulls.rpl"):
        (card / name).write_bytes((good / "card" / name).read_bytes())
    words = ["dryrun", "--config", good / "logger.json", "--volts", good / "volts.csv", "-o", card]
    assert_told(desk.command(*words), (2,))  # what a dry run made may be made anew, where that is wanted
    words.append("--replace")
    assert desk.command(*words).returncode == 0
    real = recorded_by("rp-2", (card / "drive.rpl").read_bytes())
    (card / "drive.rpl").write_bytes(real)
    assert_told(desk.command(*words), (2,))
    assert (card / "drive.rpl").read_bytes() == real
    unreadable = real[: layout.SLOT] + bytes([7]) * layout.SLOT  # nothing tells whose it was
    (card / "drive.rpl").write_bytes(unreadable)
    assert_told(desk.command(*words), (2,))
    assert (card / "drive.rpl").read_bytes() == unreadable
    for name in ("drive.rpl", "pulls.rpl"):
        (card / name).unlink()
    assert desk.command("prepare", card, "--drive-mb", "2", "--pulls-mb", "1").returncode == 0
    assert desk.command(*words).returncode == 0
