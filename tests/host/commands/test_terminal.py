"""What surrounds the commands: narrow windows, poor alphabets, readers that stop early, full disks, Ctrl-C."""

import fcntl
import json
import os
import pty
import re
import signal
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from limits import HANG_S

LOGS = Path(__file__).resolve().parents[3] / "demo_logs"
CARD = LOGS / "v1_marked"
SHORT = LOGS / "v1_spoiled"  # answered in half the time
RINGPULL = [sys.executable, "-m", "ringpull"]
# Several commands in one process, since most of a command's time goes into loading its libraries: their words come as
# a list of lists, and the first exit code that is not 0 is its own
SEVERAL = """
import json, sys
from ringpull.cli import main

for words in json.loads(sys.argv[1]):
    code = main.main(words)
    if code:
        sys.exit(code)
"""


def run(*words, **options):
    return subprocess.run([*RINGPULL, *map(str, words)], capture_output=True, text=True, **options)


def assert_three_lines(done):
    lines = done.stderr.splitlines()
    assert len(lines) == 3 and lines[0].startswith("error: "), done.stderr
    assert lines[1].startswith("  likely cause: ") and lines[2].startswith("  what to do: ")
    assert done.returncode == 2


def several(*commands):
    return [sys.executable, "-c", SEVERAL, json.dumps([[str(word) for word in words] for words in commands])]


def in_a_window(columns, *commands):
    """What commands show in a terminal of so many columns, without colours."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    with subprocess.Popen(several(*commands), stdout=theirs, stdin=theirs, stderr=theirs, env=environment) as process:
        os.close(theirs)
        shown = b""
        while True:
            try:
                piece = os.read(ours, 4096)
            except OSError:  # the command has ended
                break
            if not piece:
                break
            shown += piece
    os.close(ours)
    assert process.returncode == 0, shown
    return re.sub(r"\x1b\[[0-9;]*m", "", shown.decode())


@pytest.mark.parametrize("columns", [40, *(pytest.param(n, marks=pytest.mark.slow) for n in (80, 118, 160))])
def test_no_figure_is_cut_in_a_narrow_window(columns):
    shown = in_a_window(columns, ("pulls", CARD))
    assert "…" not in shown
    # a narrow window leaves the range out, the curve stays
    with_range = r" 0\.\d{3} +\d\.\d{3}-\d\.\d{3} +[▁-█]{5,}"
    assert re.search(with_range if columns >= 120 else r" 0\.\d{3} +[▁-█]{5,}", shown), shown
    assert re.search(r"\d % lean at\s", shown), "the lean event is not shown"
    assert max(map(len, shown.splitlines())) <= max(80, columns)


def test_maps_and_comparisons_are_not_cut_either():
    shown = in_a_window(40, ("fuelmap", SHORT), ("compare", SHORT, SHORT))
    assert "…" not in shown and "lambda/target" in shown and "would not show" in shown


@pytest.mark.parametrize("encoding", ["ascii", pytest.param("latin-1", marks=pytest.mark.slow), "utf-8"])
def test_a_terminal_without_the_letters(tmp_path, encoding):
    card = tmp_path / "kärt"
    card.mkdir()
    for file in SHORT.glob("*"):
        (card / file.name).write_bytes(file.read_bytes())
    environment = dict(os.environ, PYTHONIOENCODING=encoding)
    pulls = (("note", card, "1", "Größe ✓"), ("pulls", card))
    others = (
        ("compare", card, card),
        ("info", card),
        ("setup", "--preset", "e85", "-o", tmp_path / "größe.json"),
    )
    commands = (*pulls, *(others if encoding == "ascii" else ()))  # what ASCII lacks, the others may lack
    done = subprocess.run(several(*commands), capture_output=True, env=environment)
    assert done.returncode == 0 and not done.stderr, done.stderr
    assert ("█".encode() in done.stdout) == (encoding == "utf-8")
    assert b"u2588" not in done.stdout


def test_a_remark_typed_where_no_locale_is_set(tmp_path):
    (tmp_path / "drive.rpl").write_bytes((CARD / "drive.rpl").read_bytes())
    environment = dict(os.environ, LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    command = [*RINGPULL, "note", str(tmp_path), "1", "Größe ✓"]
    done = subprocess.run([os.fsencode(word) for word in command], capture_output=True, env=environment)
    assert done.returncode == 0 and not done.stderr, done.stderr
    assert "Größe ✓" in (tmp_path / "notes.json").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words", [pytest.param(("fuelmap", SHORT), marks=pytest.mark.slow), ("info", SHORT, "--json"), ("--help",)]
)
def test_a_reader_that_stops_early_is_no_error(words):
    process = subprocess.Popen([*RINGPULL, *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()
    told = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 0 and not told, told


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device /dev/full")
def test_a_full_disk_behind_the_output_is_told():
    with open("/dev/full", "w") as full:
        command = [*RINGPULL, "info", str(SHORT)]
        assert_three_lines(subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True))


def hear_ctrl_c():
    """In the child: whoever runs these tests in the background may have had Ctrl-C ignored, and that is inherited."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


# Runs a command and presses Ctrl-C, which the firmware's process gets too: at "rename" when a file that is whole is
# about to get its name, at "firmware" when the firmware has told for the first time how far it is
PRESSES = """
import os, signal, subprocess, sys

at = sys.argv.pop(1)
here = os.getcwd() + os.sep
popen = subprocess.Popen


def press():
    print("pressed", flush=True)
    os.killpg(0, signal.SIGINT)


def watch(event, arguments):
    if event == "os.rename" == "os." + at and os.path.abspath(arguments[0]).startswith(here):
        press()


def heard(lines):
    for line in lines:
        press()
        yield line


class Firmware(popen):
    def __init__(self, *words, **options):
        super().__init__(*words, **options)
        self.stdout = heard(self.stdout)


sys.addaudithook(watch)
if at == "firmware":
    subprocess.Popen = Firmware
from ringpull.cli import main

sys.exit(main.main())
"""


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(("firmware", "demo", "-o", "demo"), marks=pytest.mark.slow),
        ("rename", "report", SHORT, "-o", "r.html"),
        ("rename", "prepare", "card", "--drive-mb", "2", "--pulls-mb", "1"),
    ],
    ids=lambda words: words[1],
)
def test_ctrl_c_leaves_three_lines_and_no_half_file(tmp_path, words):
    (tmp_path / "card").mkdir()
    command = [sys.executable, "-c", PRESSES, *map(str, words)]
    options = {"start_new_session": True, "preexec_fn": hear_ctrl_c, "timeout": HANG_S}
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, **options)
    assert done.stdout.splitlines() == ["pressed"]
    assert_three_lines(done)
    assert "Ctrl-C" in done.stderr
    assert not list(tmp_path.glob("r.html*")) and not list((tmp_path / "card").iterdir())


PRESSED_IN_AN_IMPORT = """
import os, signal, time
from pathlib import Path
try:
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(0.1)
    Path("imported").write_text(str(signal.getitimer(signal.ITIMER_REAL)[1]))
except BaseException:
    pass
"""


@pytest.mark.parametrize("swallowed", [True, False])
def test_ctrl_c_waits_for_an_import_which_might_swallow_it(tmp_path, swallowed):
    (tmp_path / "slow.py").write_text(PRESSED_IN_AN_IMPORT)
    lines = [
        "import sys, time",
        "from ringpull.cli import ctrl_c, main",
        f"main._main = lambda _: (__import__('slow'), time.sleep({2 * HANG_S}))",
    ]
    if swallowed:  # the case is a real one: without the wait the import swallows it and the command goes on
        lines += ["ctrl_c._lost_in = lambda _: False", "time.sleep = lambda _: None"]
    lines += ["sys.exit(main.main())"]
    command = [sys.executable, "-c", "\n".join(lines)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=HANG_S, preexec_fn=hear_ctrl_c)
    if swallowed:
        assert "Ctrl-C" not in done.stderr and not (tmp_path / "imported").exists()
        return
    assert_three_lines(done)
    assert "Ctrl-C" in done.stderr
    # it is tried again and again: one signal alone can fall between the last look at signals and a wait
    assert float((tmp_path / "imported").read_text()) > 0


def test_an_option_without_a_command_is_told():
    assert_three_lines(run("--jsonn"))
