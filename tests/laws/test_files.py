"""Files stay small, and the top level holds what it is meant to hold."""

import subprocess

from trees import ROOT

MOST_LINES = 500
TOP = {
    *("README.md", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"),
    *("Makefile", "run.py"),
    *("firmware", "host", "shared_math", "tests", "hardware", "demo_logs"),
}


def tracked():
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def test_files_are_short():
    files = [path for path in tracked() if path.suffix == ".py"]
    assert files
    long = {str(path.relative_to(ROOT)): len(path.read_text().splitlines()) for path in files}
    long = {name: lines for name, lines in long.items() if lines > MOST_LINES}
    assert not long, f"more than {MOST_LINES} lines: {long}"


def test_top_level():
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP
