"""What `keep` and its like say: of drives with holes or odd dates, and where a shelf can't be written to."""

import errno
import os

import pytest
import shelf_cards
from truth.desk import command

from ringpull.cli.main import main
from ringpull.shelf import catalogue, keep, tidy
from ringpull.shelf.keep import Told
from ringpull.shelf.places import Shelf

TOLD = Told("hill", on="2026-04-01")


def kept(capsys, *words):
    assert main(["keep", *map(str, words), "--car", "hill"]) == 0
    return capsys.readouterr().out


def test_what_is_gone_from_a_card_is_told(tmp_path, capsys):
    hurt = shelf_cards.card(tmp_path / "card")
    ring = hurt / "drive.rpl"
    blocks = ring.read_bytes()
    half = len(blocks) // 1024 * 512
    ring.write_bytes(blocks[:half] + bytes(40 * 512) + blocks[half + 40 * 512 :])
    said = kept(capsys, hurt, "--in", tmp_path / "shelf", "--on", "2026-04-02")
    (row,) = catalogue.drives(Shelf(tmp_path / "shelf"))
    missing = row["end_row"] - row["first_row"] - row["rows"]
    assert missing > 40 and f"can't be read ({missing} rows): a lean event there would not show" in said
    assert f"{missing / row['rate_hz']:.1f} s of " in said


def test_dates_that_can_not_be_are_told(tmp_path, quick, capsys):
    card, shelf = shelf_cards.card(tmp_path / "card"), tmp_path / "shelf"
    said = kept(capsys, card, "--in", shelf, "--on", "2026-04-01")
    assert "yet to come" not in said and "can't be read" not in said
    assert "2999-01-01 is yet to come" in kept(capsys, card, "--in", shelf, "--on", "2999-01-01")
    said = kept(capsys, card, "--in", shelf, "--on", "2026-04-01", "--sensor-fitted", "2026-05-01")
    assert "sensor was fitted after it, on 2026-05-01" in said and "yet to come" not in said
    assert "fitted" not in kept(capsys, card, "--in", shelf, "--sensor-fitted", "")
    assert catalogue.drives(Shelf(shelf))[0]["sensor_day"] is None


def fails(number):
    def refused(*words, **more):
        raise OSError(number, os.strerror(number), str(words[0]))

    return refused


@pytest.mark.parametrize("number", [errno.EROFS, errno.ENOSPC])
def test_a_shelf_that_takes_nothing_is_named_once(tmp_path, quick, capsys, monkeypatch, number):
    shelf = tmp_path / "shelf"
    cards = [shelf_cards.card(tmp_path / str(at), session=at) for at in range(1, 5)]
    for card in cards[:3]:
        keep.keep(shelf, card, TOLD)
    monkeypatch.setattr("ringpull.shelf.putting.os.replace", fails(number))
    monkeypatch.setattr("pathlib.Path.unlink", fails(number))
    for words in (["keep", cards[3], "--in", shelf, "--car", "hill"], ["rejudge", shelf], ["tidy", shelf]):
        assert main([str(one) for one in words]) == 2
        told = capsys.readouterr().err
        assert told.startswith(f"error: the shelf {shelf} can't be written to ({os.strerror(number)})"), told
        assert told.count("error:") == 1 and "keep the card" not in told and ".new" not in told
        assert told.count("2 more: ") == (words[0] == "rejudge")
    assert [row["session"] for row in catalogue.drives(Shelf(shelf))] == [1, 2, 3]


def test_a_file_in_the_shelfs_place_is_named(tmp_path, quick):
    card, junk = shelf_cards.card(tmp_path / "card"), tmp_path / "junk.rpl"
    junk.write_bytes(b"junk")
    for words in (["keep", card, "--in", junk, "--car", "hill"], ["kept", junk], ["tidy", junk], ["ask", junk, "lean"]):
        done = command(*words)
        assert done.returncode == 2 and done.stderr.startswith(f"error: {junk} is a file, and a shelf is a folder")


def test_a_file_missing_from_a_shelf_is_not_the_cards_fault(tmp_path, quick, capsys):
    card, shelf = shelf_cards.card(tmp_path / "card"), tmp_path / "shelf"
    keep.keep(shelf, card, TOLD)
    (ring,) = Shelf(shelf).folder("rings", "hill").iterdir()
    ring.unlink()
    assert main(["keep", str(card), "--in", str(shelf), "--car", "hill", "--change", "plugs"]) == 2
    assert capsys.readouterr().err.startswith(f"error: the shelf {shelf} can't be used: No such file")


def test_an_empty_shelf_says_so(tmp_path):
    (tmp_path / "shelf" / "v1").mkdir(parents=True)
    assert command("kept", tmp_path / "shelf").stdout.startswith(f"{tmp_path / 'shelf'} holds no drive yet")
    assert tidy.tidy(tmp_path / "shelf") == []
