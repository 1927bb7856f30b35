"""A drive kept under a wrong car is moved or removed; a name that may be a slip is told."""

import shutil

import pytest
import shelf_cards
from truth.desk import command

from ringpull.errors import BadUsage
from ringpull.shelf import catalogue, keep, moving, tidy
from ringpull.shelf.keep import Told
from ringpull.shelf.places import Shelf, apart_by_a_slip, folder_name, name_of
from ringpull.shelf.tables import TABLES

TOLD = Told("hil", on="2026-04-01")
NAME = "63617231-1"
pytestmark = pytest.mark.usefixtures("quick")


@pytest.fixture(params=["alone", "tidied", "tidied with another", "noted since it was tidied"])
def shelf(request, tmp_path):
    root = tmp_path / "shelf"
    keep.keep(root, shelf_cards.card(tmp_path / "card"), TOLD)
    if "another" in request.param:
        keep.keep(root, shelf_cards.card(tmp_path / "2", session=2), TOLD)
    if "tidied" in request.param:
        tidy.tidy(root)
    if "noted" in request.param:
        keep.keep(root, tmp_path / "card", Told("hil", change="plugs"))
    return root


def files_with(root, name):
    """The files of a drive's own, and the rows of it in tidied files."""
    own = [path for path in (root / "v1").rglob(f"{name}_*")]
    tables = [path for table in TABLES for path in Shelf(root).files(table) if path.name.startswith("all_")]
    return own, [row for path in tables for row in catalogue.read_rows(path, name)]


def test_a_removed_drive_is_gone_and_the_others_stay(shelf, tmp_path):
    others = [row["drive"] for row in catalogue.drives(Shelf(shelf)) if row["drive"] != NAME]
    assert moving.remove(shelf, NAME).what == "removed"
    assert files_with(shelf, NAME) == ([], [])
    assert [row["drive"] for row in catalogue.drives(Shelf(shelf))] == others
    assert keep.keep(shelf, tmp_path / "card", Told("hill"))[0].what == keep.KEPT
    with pytest.raises(BadUsage, match="no drive"):
        moving.remove(shelf, "63617231-7")


def test_a_moved_drive_counts_for_its_car_alone_with_its_notes(shelf):
    (before,) = catalogue.drives(Shelf(shelf), drive=NAME)
    ring = (Shelf(shelf).folder("rings", "hil") / before["ring"]).read_bytes()
    assert moving.move(shelf, NAME, "hill").what == "moved"
    (row,) = catalogue.drives(Shelf(shelf), drive=NAME)
    assert row["car_name"] == "hill" and row["change"] == before["change"] and row["date"] == before["date"]
    assert (Shelf(shelf).folder("rings", "hill") / row["ring"]).read_bytes() == ring
    assert not catalogue.drives(Shelf(shelf), "hil", NAME)
    with pytest.raises(BadUsage, match="already"):
        moving.move(shelf, NAME, "hill")


def test_a_move_that_was_killed_is_finished_by_another(shelf, monkeypatch):
    with monkeypatch.context() as killed:
        killed.setattr(moving, "take_from", lambda *words: None)
        moving.move(shelf, NAME, "hill")
    (row,) = catalogue.drives(Shelf(shelf), drive=NAME)
    assert row["car_name"] == "hill"
    moving.move(shelf, NAME, "hill")
    assert not catalogue.drives(Shelf(shelf), "hil", NAME) and catalogue.drives(Shelf(shelf), "hill", NAME)


def test_the_commands_tell_what_they_did(tmp_path):
    root, card = tmp_path / "shelf", shelf_cards.card(tmp_path / "card")
    said = command("keep", card, "--in", root, "--car", "hill", "--on", "2026-04-01")
    assert said.stderr == ""
    other = shelf_cards.card(tmp_path / "2", session=2)
    said = command("keep", other, "--in", root, "--car", "hil", "--on", "2026-04-01")
    assert "begins a new car 'hil'; there is 'hill'" in said.stderr and said.returncode == 0
    refused = command("keep", other, "--in", root, "--car", "hill")
    assert refused.returncode == 2 and f"ringpull kept {root} --move 63617231-2 --car hill" in refused.stderr
    assert command("kept", root, "--move", "63617231-2").returncode == 2
    moved = command("kept", root, "--move", "63617231-2", "--car", "hill")
    assert moved.stdout.startswith("63617231-2: moved") and moved.stderr == ""
    assert command("kept", root, "--remove", "63617231-2").stdout.startswith("63617231-2: removed")
    assert command("kept", root, "--remove", NAME).returncode == 0
    said = command("kept", root).stdout
    assert said.startswith(f"{root} holds no drive yet") and len(said.splitlines()) == 1
    shutil.rmtree(root)
    assert command("kept", root, "--remove", NAME).returncode == 2


@pytest.mark.parametrize("one, other", [("hill", "Hill"), ("hill", "hil"), ("hill", "hiill"), ("hill", "hell")])
def test_a_slip_in_a_name_is_known(one, other):
    assert apart_by_a_slip(one, other) and apart_by_a_slip(other, one)


@pytest.mark.parametrize("one, other", [("hill", "town"), ("car 1", "car 2"), ("hill", "hills2"), ("hill", "hlil2")])
def test_other_names_are_others(one, other):
    assert not apart_by_a_slip(one, other) and not apart_by_a_slip(other, one)


@pytest.mark.parametrize("name", ["007", "Hügel/2 b", "a~b", "日本"])
def test_a_car_is_known_by_its_folder(name):
    assert name_of(folder_name(name)) == name
