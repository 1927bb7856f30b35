"""Cards checked on the PC: true ones, slow ones, and two kinds that say that they are larger than they are. The FAT is
MicroPython's own, on a block device that lies."""

import json

import pytest
from truth import desk
from truth.fat_room import FatRoom

from ringpull.device import card_check
from ringpull.files import own_room

MB = 1 << 20
APART = MB


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Fewer bytes than for a card."""
    for name, value in {"TIMED_FILE": 64 << 10, "TIMED_WRITES": 8, "PIECE": 8 << 10, "LEFT": 64 << 10}.items():
        monkeypatch.setattr(card_check, name, value)
    monkeypatch.setattr(card_check, "LEAST_ROOM", 16 * MB)


def checked(tmp_path, there, kind, whole=False, told=24 * MB):
    with FatRoom(tmp_path / "card.img", told, there, kind) as room:
        room.append("mine.txt", b"kept")
        room.names.clear()
        found = card_check.check(room, whole, apart=APART)
        assert room.cleared
        left = room.names_there() if kind != "wraps" else None
        kept = room.read("mine.txt", 0, 4) if kind != "wraps" else b"kept"
    assert kept == b"kept" and left in (None, ["mine.txt"])
    return found


def test_a_true_card_is_fit_and_left_as_it_was(tmp_path):
    found = checked(tmp_path, 24 * MB, "true")
    assert found.reasons == [] and found.right == found.written < 2 * MB
    assert found.spread > 0.95 * found.free and not found.whole and len(found.write_s) == card_check.TIMED_WRITES


@pytest.mark.parametrize("there", [5, 10, 21])
def test_a_card_that_loses_what_lies_beyond_is_found_and_measured(tmp_path, there):
    found = checked(tmp_path, there * MB, "lost")
    assert "not as large as it says" in found.reasons[0]
    assert found.true_bytes is not None and (there - 2) * MB < found.true_bytes < (there + 2) * MB


@pytest.mark.parametrize("there", [5, 10])
def test_a_card_that_comes_round_is_found(tmp_path, there):
    """One of its pieces falls on the file before them. (One that falls on the volume's tables leaves chains that go in
    circles, which this FAT follows for ever.)"""
    assert checked(tmp_path, there * MB, "wraps").reasons


@pytest.mark.slow
def test_written_whole_it_is_measured(tmp_path):
    found = checked(tmp_path, 10 * MB, "lost", whole=True)
    assert found.reasons and found.true_bytes == pytest.approx(10 * MB, abs=MB)


class Memory:
    """A card in memory. slow_s: of one write; refuses: an errno for every write after so many bytes."""

    proves, system = True, "vfat"

    def __init__(self, size=100 * MB, slow_s=0.001, refuses_at=None, stops_at=None):
        self.size, self.slow_s, self.refuses_at, self.stops_at = size, slow_s, refuses_at, stops_at
        self.files = {}
        self.taken = 0
        self.written = 0

    def free(self):
        return self.size - self.taken - sum(map(len, self.files.values()))

    def take(self, name, size):
        self.taken += size
        return True

    def append(self, name, data):
        self.written += len(data)
        if self.stops_at is not None and self.written > self.stops_at:
            raise KeyboardInterrupt
        if self.refuses_at is not None and self.written > self.refuses_at:
            raise OSError(5, "Input/output error")
        self.files[name] = self.files.get(name, b"") + data

    def overwrite(self, name, at, data):
        return self.slow_s if at else 2 * self.slow_s

    def read(self, name, at, size):
        return self.files[name][at : at + size]

    def clear(self):
        self.files.clear()
        self.taken = 0


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"slow_s": 0.3}, "a write took 600 ms"),
        ({"refuses_at": MB}, "the system gave up on it: Input/output error"),
        ({"size": 12 * MB}, "are free; the ring files take"),
    ],
)
def test_other_reasons(changes, said):
    (reason,) = card_check.check(Memory(**changes), apart=APART).reasons
    assert said in reason


def test_another_file_system_is_no_card_for_the_logger():
    room = Memory()
    room.system = "exfat"
    assert "formatted as exfat" in card_check.check(room, apart=APART).reasons[0]


def test_interrupted_its_files_are_removed(tmp_path, monkeypatch):
    room = Memory(stops_at=MB)
    with pytest.raises(KeyboardInterrupt):
        card_check.check(room, apart=APART)
    assert room.files == {}
    (tmp_path / "mine.txt").write_text("kept")

    def stop(self, name, data):
        (self.place / name).write_bytes(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr(own_room.OwnRoom, "append", stop)
    done = desk.command("prepare", tmp_path, "--check")
    assert done.returncode == 2 and "its files are removed" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.fixture
def small(monkeypatch):
    """This machine's disk as if it had little room."""
    monkeypatch.setattr(card_check, "APART", MB)
    monkeypatch.setattr(own_room.OwnRoom, "free", lambda self: 20 * MB)


def test_the_command(tmp_path, small):
    (tmp_path / "mine.txt").write_text("kept")
    (tmp_path / own_room.FOLDER).mkdir()  # of a run that was killed
    (tmp_path / own_room.FOLDER / "gap1").write_bytes(b"old")
    done = desk.command("prepare", tmp_path, "--check", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["right_bytes"] == found["written_bytes"] > MB and found["worst_write_ms"] > 0
    assert "CAUTION" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    assert (tmp_path / "mine.txt").read_text() == "kept"


def test_it_says_whether_it_is_fit(tmp_path, small, monkeypatch):
    monkeypatch.setattr(own_room, "file_system", lambda _folder: "vfat")
    done = desk.command("prepare", tmp_path, "--check", "--strict")
    assert done.returncode == 0 and "It is fit for the logger, as far as" in done.stdout, done.stdout
    monkeypatch.setattr(own_room, "file_system", lambda _folder: "exfat")
    done = desk.command("prepare", tmp_path, "--check", "--strict")
    assert done.returncode == 1 and "not fit: it is formatted as exfat" in done.stdout
    assert desk.command("prepare", tmp_path / "none", "--check").returncode == 2


def test_the_file_system_of_a_folder(tmp_path, monkeypatch):
    mounts = f"/dev/a / ext4 rw 0 0\n/dev/b {tmp_path.resolve()} vfat rw 0 0\n"
    monkeypatch.setattr(own_room.Path, "read_text", lambda self: mounts)
    assert own_room.file_system(tmp_path / "card") == "vfat" and own_room.file_system(tmp_path.parent) == "ext4"
