"""Every command that the guide shows runs, in the guide's order; examples are clean, links lead somewhere."""

import hashlib
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from glob import glob
from importlib.util import find_spec
from pathlib import Path

import documents
import pytest
from limits import until
from trees import ROOT

from ringpull.cli import main
from ringpull.device import judgement
from shared_math import config
from tests.make import car_values
from tests.make.compiled import ARCHITECTURES

GUIDE, BOARDS = "host/docs/guide.md", "host/docs/boards.md"
PREFIX = "mpremote connect PORT "
NO_MODULES = ("__pycache__", "package.json")


@pytest.fixture
def folder(tmp_path):
    """A folder like the project's, as far as the guide's commands see it, and a card mounted in it."""
    for name in (".venv", "firmware", "shared_math", "hardware", "demo_logs"):
        os.symlink(ROOT / name, tmp_path / name)
    (tmp_path / "CARD").mkdir()
    return tmp_path


def shell(line, cwd):
    """A command line, run by bash as it stands."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", line], cwd=cwd, capture_output=True, text=True, env={**os.environ, "PATH": path}
    )
    assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
    return done.stdout


def here(line, cwd, monkeypatch, capsys):
    """A `ringpull` line in this process: one of its own would load all libraries anew. Enter answers every question."""
    monkeypatch.chdir(cwd)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 80))
    capsys.readouterr()
    code = main.main(shlex.split(line)[1:])
    shown = capsys.readouterr()
    assert code == 0, f"{line}\n{shown.out}{shown.err}"
    return shown.out


def served(line, cwd):
    """`ringpull view`, until it says that it is ready."""
    command = [sys.executable, "-m", "ringpull", *shlex.split(line)[1:], "--no-browser", "--json"]
    process = subprocess.Popen(command, cwd=cwd, stdout=subprocess.PIPE, text=True)
    try:
        until(lambda: process.stdout.readline().strip(), line)
    finally:
        process.kill()
        process.wait()


def stand_in(line, cwd):
    """A kept card where `ringpull demo` or `dryrun` would make one, which takes a minute in all; the line's options
    are known ones."""
    parser, _ = main.parser_of(shlex.split(line)[1])
    output = cwd / parser.parse_args(shlex.split(line)[2:]).output
    shutil.copytree(ROOT / "demo_logs" / "v1_marked", output / "card" if " demo " in line else output)
    return "a card"


@pytest.mark.parametrize("whole", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["kept_cards", "whole"])
def test_the_guides_commands_run_in_their_order(whole, folder, monkeypatch, capsys):
    """Unless whole: each line once, on kept cards."""
    usb = documents.over_usb(documents.text(GUIDE))  # test_over_usb.py runs these
    lines = [line for line in documents.shell_lines(documents.text(GUIDE)) if line not in usb]
    assert len(lines) > 20
    for line in lines if whole else dict.fromkeys(lines):
        if line.startswith("ringpull view "):
            if whole or line.count("/card") == 2:
                served(line, folder)
            continue
        if line.startswith("ringpull ask ") and not (find_spec("ibis") and find_spec("duckdb")):
            continue  # of the extra `library`
        if not whole and line.startswith(("ringpull demo ", "ringpull dryrun ")):
            shown = stand_in(line, folder)
        else:
            shown = here(line, folder, monkeypatch, capsys) if line.startswith("ringpull ") else shell(line, folder)
        if "prepare" in line:
            assert sorted(path.name for path in (folder / "CARD").iterdir()) == [
                "drive.rpl",
                "logger.json",
                "pulls.rpl",
            ]
        if whole and line == "ringpull compare before/card after/card":
            as_the_guide_says(json.loads(here(line + " --json", folder, monkeypatch, capsys)))
        assert shown or "source" in line, line
    (notebook,) = documents.blocks(documents.text(GUIDE), "python")
    in_python(notebook, folder, monkeypatch, capsys)
    made = ["pull_2.png", "table.parquet", "before.html", "after.html", "factors.csv", "drive.csv", "drive.parquet"]
    for name in (*made, "again/card/drive.rpl"):
        assert (folder / name).stat().st_size > 100


def in_python(notebook, cwd, monkeypatch, capsys):
    """The guide's example finds what the demo has: a lean event in its second pull."""
    pyplot = pytest.importorskip("matplotlib.pyplot", reason="matplotlib, of the extra `pictures`, is not installed")
    pyplot.switch_backend("agg")
    monkeypatch.chdir(cwd)
    capsys.readouterr()
    exec(compile(notebook, GUIDE, "exec"), {})
    shown = capsys.readouterr().out.splitlines()
    assert shown[0] == "attention" and shown[1].startswith("pull 2: 4") and shown[-1] == "kPa"


def as_the_guide_says(compared):
    """The guide explains this very outcome."""
    assert "1 of 3 pulls was lean before and 0 of 3 after" in " ".join(documents.text(GUIDE).split())
    assert compared["lean_pulls"] == {"before": {"lean": 1, "judged": 3}, "after": {"lean": 0, "judged": 3}}
    assert compared["verdict"] == "no difference shown"


@pytest.mark.slow
def test_the_boards_commands_run_in_their_order(folder, mpremote):
    """On MicroPython's unix port behind a pseudo-terminal, which has no soft reset and no reset."""
    recorded = (ROOT / "demo_logs" / "v1_marked" / "drive.rpl").read_bytes()[: 16 * 512]
    put = f"import os\nos.mkdir('ring')\nwith open('ring/drive.rpl', 'wb') as f:\n    f.write({recorded!r})\n"
    for line in documents.shell_lines(documents.text(BOARDS)):
        if line == PREFIX + "reset" or " mip " in line:  # test_mip.py runs the latter
            continue
        if line.startswith(PREFIX):
            if ":ring" in line:
                mpremote("exec", put, cwd=folder)
            words = [name for word in shlex.split(line)[3:] for name in sorted(glob(word, root_dir=folder)) or [word]]
            mpremote(*words, cwd=folder)
        else:
            assert shell(line.replace("build/", f"{folder}/build/"), folder) or line == "mpremote connect list"
        if "cp -r firmware/*" in line:
            assert on_the_board(mpremote, folder) == in_the_sources()
    assert (folder / "ring" / "drive.rpl").read_bytes() == recorded
    names = mpremote("exec", "import os\nprint(sorted(n for n, *_ in os.ilistdir('/')))", cwd=folder)
    assert "main.py" in names and "logger.mpy" in names and "logger.py" not in names and "memory.mpy" in names


def in_the_sources():
    """Path on the board -> checksum of firmware and shared_math."""
    out = {}
    for folder, place in ((ROOT / "firmware", ""), (ROOT / "shared_math", "shared_math/")):
        for path in sorted(folder.rglob("*.py")):
            out[place + path.relative_to(folder).as_posix()] = hashlib.sha256(path.read_bytes()).hexdigest()
    return out


def on_the_board(mpremote, folder):
    names = list(in_the_sources())
    code = "import hashlib, binascii\n" + "".join(
        f"print(binascii.hexlify(hashlib.sha256(open({name!r}, 'rb').read()).digest()).decode())\n" for name in names
    )
    return dict(zip(names, mpremote("exec", code, cwd=folder).split(), strict=True))


def test_the_windows_line_copies_the_same():
    (line,) = documents.blocks(documents.text(BOARDS), "powershell")
    named = [word for word in line.split() if word.startswith("firmware/")]
    there = [f"firmware/{path.name}" for path in (ROOT / "firmware").iterdir() if path.name not in NO_MODULES]
    assert sorted(named) == sorted(there) and line.split()[-2:] == ["shared_math", ":"]


def test_the_lines_that_take_text_files_away_name_them_all():
    lines = [line for line in documents.shell_lines(documents.text(BOARDS)) if " fs rm " in line]
    named = {word.lstrip(":") for line in lines for word in line.split() if word.startswith(":")}
    there = {path.name for path in (ROOT / "firmware").iterdir() if path.name not in (*NO_MODULES, "main.py")}
    assert named == there | {"shared_math"}


@pytest.mark.parametrize("board", ARCHITECTURES)
def test_the_boards_page_names_every_board_that_is_compiled_for(board):
    assert f"`{board}`" in documents.text(BOARDS) or f"compiled {board} " in documents.text(BOARDS)


def test_the_guides_two_bank_car_works():
    (example,) = documents.blocks(documents.text(GUIDE), "json")
    settings = json.loads(example)
    assert config.check(settings) == []
    judged = judgement.judge(settings)
    assert judged.works and not judged.first
    assert all(use.sentences for use in judged.channels)


def test_the_example_with_the_cars_computer_works():
    (example,) = documents.blocks(documents.text("host/docs/cars_computer.md"), "json")
    settings = json.loads(example)
    assert config.check(settings) == [] and judgement.judge(settings).works
    assert "trims_alone" not in [point.code for point in judgement.judge(settings).first]


def test_the_page_lists_all_that_the_cars_computer_can_be_asked_for():
    assert car_values.shown() == car_values.table(), "run python -m tests.make.car_values"


@pytest.mark.parametrize("page", documents.PAGES)
def test_links_lead_to_files_that_are_there(page):
    for link in documents.links(documents.text(page)):
        assert (ROOT / page).parent.joinpath(link).exists(), f"{page}: {link}"


@pytest.mark.parametrize("page", documents.PAGES)
def test_links_inside_a_page_lead_to_its_headings(page):
    text = documents.text(page)
    headings = {anchor(line) for line in text.splitlines() if line.startswith("#")}
    for link in re.findall(r"\]\(#([^)]+)\)", text):
        assert link in headings, f"{page}: {link}"


def anchor(line):
    """A heading's place as the usual readers of Markdown call it."""
    return re.sub(r"[^a-z0-9_ -]", "", line.lstrip("# ").lower()).replace(" ", "-")


def test_every_page_is_reached_from_readme():
    """At most two links away."""
    seen, ahead = set(), ["README.md"]
    for _ in range(3):
        ahead = [
            (ROOT / page).parent.joinpath(link).resolve().relative_to(ROOT).as_posix()
            for page in ahead
            if page.endswith(".md") and page not in seen and not seen.add(page)
            for link in documents.links(documents.text(page))
        ]
        seen |= set(ahead) - set(documents.PAGES)
        ahead = [page for page in ahead if page in documents.PAGES]
    pages = {path.relative_to(ROOT).as_posix() for path in (ROOT / "host" / "docs").glob("*.*ml")}
    assert pages | set(documents.PAGES) <= seen | {"README.md"}


def test_no_page_promises():
    for page in documents.PAGES:
        assert not re.search(r"\b(is|are|now|be) safe\b", documents.text(page)), page
