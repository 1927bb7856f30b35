"""run.py installs what a command needs and no more, once; and it starts where there is no fcntl."""

import importlib.util
import os
import subprocess
import sys
import types

import pytest
from trees import ROOT


def loaded():
    spec = importlib.util.spec_from_file_location("run_of_the_project", ROOT / "run.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def run(tmp_path, monkeypatch):
    """run.py with an empty folder for .venv; run.installed: what pip was told to install, one after the other."""
    module = loaded()
    module.HERE, module.VENV, module.installed = tmp_path, tmp_path / ".venv", []
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text())

    def no_process(words, **_):
        if "venv" in words:
            module.VENV.mkdir(exist_ok=True)
        if "pip" in words:
            module.installed.append(words[-1].removeprefix(str(tmp_path)))
        return subprocess.CompletedProcess(words, 0, "", "")

    monkeypatch.setattr(subprocess, "run", no_process)
    return module


def test_each_level_is_installed_once(run):
    for level in (run.DEMO, run.DEMO, run.ALL, run.ALL, run.DEMO):
        run.set_up(level)
    assert run.installed == ["", run.EXTRAS[run.ALL]]


def test_what_is_there_for_tests_is_enough_for_the_demo(run):
    run.set_up(run.ALL)
    run.set_up(run.DEMO)
    assert run.installed == [run.EXTRAS[run.ALL]]


@pytest.mark.parametrize(("text", "again"), [("numpy>=1.26", {"demo", "all"}), ("pytest>=8", {"all"})])
def test_other_requirements_are_installed_anew(run, text, again):
    run.set_up(run.DEMO)
    run.set_up(run.ALL)
    settings = run.HERE / "pyproject.toml"
    settings.write_text(settings.read_text().replace(text, text + ",<99"))
    assert {level for level in (run.DEMO, run.ALL) if not run.is_set_up(level)} == again


def test_every_extra_is_installed_for_the_tests(run):
    """All but the mutation tier's tool, which tests/mutation/README.md tells how to install, and the clusters, which
    need Java and half a gigabyte: their tests skip without."""
    extras = run.tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    assert sorted(run.EXTRAS[run.ALL].strip("[]").split(",")) == sorted(set(extras) - {"mutation", "cluster"})


def test_without_fcntl_and_user_ids(monkeypatch, tmp_path, capsys):
    asked = []

    def locking(_handle, how, size):
        asked.append((how, size))
        if len(asked) == 1:
            raise OSError("another has it")

    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", types.SimpleNamespace(LK_LOCK=1, locking=locking))
    run = loaded()
    run.HERE = tmp_path
    with run.alone():
        assert asked == [(1, 1), (1, 1)]
    monkeypatch.delattr(os, "geteuid")
    monkeypatch.setattr(run.shutil, "which", lambda _: None)
    run.debian_packages()
    assert len(capsys.readouterr().out.splitlines()) == len(run.DEBIAN)
