"""Every command explains itself, and none makes the others start slowly."""

import argparse
import importlib
import subprocess
import sys

import pytest
from trees import HOST

from ringpull.cli import main

NAMES = list(main.COMMANDS)
HEAVY = ("numpy", "pandas", "pyarrow", "rich", "matplotlib", "serial")


def options(name):
    parser = argparse.ArgumentParser()
    importlib.import_module(f"ringpull.cli.commands.{name}").add_arguments(parser)
    return {option for action in parser._actions for option in action.option_strings}


def test_every_module_is_a_command_and_every_command_a_module():
    modules = {path.stem for path in (HOST / "cli" / "commands").glob("*.py")} - {"__init__"}
    assert modules == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_help_has_an_example(name, capsys):
    module = importlib.import_module(f"ringpull.cli.commands.{name}")
    assert module.HELP and "\n" not in module.HELP
    assert module.EXAMPLE.startswith(f"ringpull {name}")
    with pytest.raises(SystemExit) as stop:
        main.main([name, "--help"])
    assert stop.value.code == 0
    shown = capsys.readouterr().out
    assert module.EXAMPLE in shown


@pytest.mark.parametrize("name", NAMES)
def test_data_can_be_had_as_json(name):
    assert "--json" in options(name)


@pytest.mark.parametrize("words", [[], *[[name] for name in NAMES]], ids=lambda words: " ".join(words) or "ringpull")
def test_help_loads_nothing_heavy(words):
    code = (
        "import sys\nfrom ringpull.cli.main import main\n"
        f"try:\n    main({[*words, '--help']!r})\nexcept SystemExit:\n    pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    "words", [["nonsense"], ["nonsense", "--help"], ["nonsense", "--version"], ["nonsense", "card"]]
)
def test_an_unknown_command_is_told_whatever_follows_it(words, capsys):
    assert main.main(words) == 2
    shown = capsys.readouterr()
    assert not shown.out and "there is no command 'nonsense'" in shown.err and len(shown.err.splitlines()) == 3
