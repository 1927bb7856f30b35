"""The firmware brought onto a board: into a folder of its own, begun by one last rename.

The board has two folders by turns. Files that did not change are copied on the board itself; all are hashed there; then
main.py is replaced, which names the folder that starts. Until that step the old firmware starts, so that a cable may be
pulled at any byte.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256

from ringpull.cable.prompt import BoardFacts, Prompt
from ringpull.device import firmware_build
from ringpull.errors import BadUsage

FOLDERS = ("ringpull_a", "ringpull_b")
OWN_START = "main.py"
KEPT_START = "main_before.py"  # what the board started before
BEGIN = "begin"  # the firmware's main module on the board
MARK = "# Starts the logger: written by ringpull install"
LEAST_VERSION = (1, 24)
LEAST_HEAP = 180 * 1024
CONFIG = "logger.json"

HASHES = """
import os, hashlib
def _hash(folder, found):
    for entry in os.ilistdir(folder):
        path = folder + "/" + entry[0]
        if entry[1] & 0x4000:
            _hash(path, found)
        else:
            h = hashlib.sha256()
            with open(path, "rb") as f:
                while True:
                    n = f.readinto(_piece)
                    if not n:
                        break
                    h.update(_piece[:n])
            found[path[len(_top) + 1:]] = "".join("%02x" % b for b in h.digest())
_piece = memoryview(bytearray(512))
_found = {}
_top = TOP
try:
    _hash(_top, _found)
except OSError:
    pass
print(_found)
"""
REMOVE = """
import os
def _remove(path):
    try:
        entries = list(os.ilistdir(path))
    except OSError:
        return
    for entry in entries:
        if entry[1] & 0x4000:
            _remove(path + "/" + entry[0])
        else:
            os.remove(path + "/" + entry[0])
    os.rmdir(path)
_remove(TOP)
"""
COPY = """
_piece = memoryview(bytearray(512))
for _name in NAMES:
    with open(FROM + "/" + _name, "rb") as _a, open(TO + "/" + _name, "wb") as _b:
        while True:
            _n = _a.readinto(_piece)
            if not _n:
                break
            _b.write(_piece[:_n])
"""
FOLDERS_OF = """
import os
for _path in PATHS:
    try:
        os.mkdir(_path)
    except OSError:
        pass
"""
RENAME = """
import os
os.rename(FROM, TO)
"""


@dataclass(frozen=True)
class Installed:
    """sent, copied, kept: files that came over the cable, that were copied on the board, that stood there already.
    compiled: whether modules are compiled."""

    sent: int
    copied: int
    kept: int
    compiled: bool


def fits(facts: BoardFacts) -> None:
    """Raises BadUsage where the firmware can't run on this board."""
    if facts.version < LEAST_VERSION:
        have, need = ".".join(map(str, facts.version)), ".".join(map(str, LEAST_VERSION))
        raise BadUsage(
            f"the board's MicroPython is {have}; the logger needs {need} or newer",
            "the board has carried it for a while",
            "bring a newer MicroPython onto the board first: the guide tells how",
        )
    if facts.heap < LEAST_HEAP:
        raise BadUsage(
            f"the board has {facts.heap // 1024} kB of memory for programs; the logger needs {LEAST_HEAP // 1024} kB",
            "a board of another class",
            "take one that README lists",
        )


def modules(facts: BoardFacts) -> tuple[dict[str, bytes], bool]:
    """(path -> bytes of the firmware for this board, whether compiled)."""
    if facts.mpy and facts.arch and firmware_build.compiler():
        return firmware_build.compiled(facts.arch, BEGIN + ".py"), True
    plain = {name: path.read_bytes() for name, path in firmware_build.sources().items()}
    plain[BEGIN + ".py"] = plain.pop(firmware_build.START)
    return plain, False


def install(
    prompt: Prompt, facts: BoardFacts, config: bytes | None = None, progress: Callable[[float], None] | None = None
) -> Installed:
    """Bring the firmware onto the board, and `config` as its logger.json where one is given. Raises BadUsage where it
    does not fit, what the prompt raises."""
    fits(facts)
    wanted, compiled = modules(facts)
    hashes = {name: sha256(data).hexdigest() for name, data in wanted.items()}
    old = _started(prompt)
    there = _hashes(prompt, old) if old else {}
    sent = copied = 0
    if there != hashes:
        new = FOLDERS[1] if old == FOLDERS[0] else FOLDERS[0]
        sent, copied = _bring(prompt, wanted, hashes, there, old, new, progress)
        _begin(prompt, new)
        old = new
    for folder in FOLDERS:
        if folder != old:
            _run(prompt, REMOVE, TOP=folder)
    if config is not None and _text(prompt, CONFIG) != config:
        prompt.write(CONFIG + ".new", config)
        _run(prompt, RENAME, FROM=CONFIG + ".new", TO=CONFIG)
    return Installed(sent, copied, len(wanted) - sent - copied, compiled)


def remove(prompt: Prompt) -> bool:
    """Take the firmware off: the board is as it was. Whether there was one; recordings and logger.json stay."""
    there = _started(prompt) is not None
    if there:
        if _text(prompt, KEPT_START) is not None:
            _run(prompt, RENAME, FROM=KEPT_START, TO=OWN_START)
        else:
            prompt.run(f"import os; os.remove({OWN_START!r})")
    for folder in FOLDERS:
        _run(prompt, REMOVE, TOP=folder)
    return there


def _bring(
    prompt: Prompt,
    wanted: dict[str, bytes],
    hashes: dict[str, str],
    there: dict[str, str],
    old: str | None,
    new: str,
    progress: Callable[[float], None] | None,
) -> tuple[int, int]:
    """(files sent, files copied on the board) until `new` holds what is wanted and nothing else."""
    half_done = _hashes(prompt, new)
    if set(half_done) - set(hashes):  # of another version
        _run(prompt, REMOVE, TOP=new)
        half_done = {}
    folders = {new} | {f"{new}/{name.rsplit('/', 1)[0]}" for name in wanted if "/" in name}
    folders |= {one.rsplit("/", 1)[0] for one in folders if one.count("/") > 1}
    _run(prompt, FOLDERS_OF, PATHS=sorted(folders))
    missing = [name for name in wanted if half_done.get(name) != hashes[name]]
    same = [name for name in missing if there.get(name) == hashes[name]]
    if same:
        _run(prompt, COPY, NAMES=same, FROM=old, TO=new)
    send = [name for name in missing if name not in same]
    size = sum(len(wanted[name]) for name in send)
    done = 0
    for name in send:
        prompt.write(f"{new}/{name}", wanted[name])
        done += len(wanted[name])
        if progress:
            progress(done / size)
    wrong = [name for name, value in _hashes(prompt, new).items() if hashes.get(name) != value]
    if wrong:
        raise BadUsage(
            f"{wrong[0]} on the board is not what was sent",
            "its flash is worn or full",
            "give the command again; where that does not help, take another board",
        )
    return len(send), len(same)


def _begin(prompt: Prompt, folder: str) -> None:
    """The last step: from now on the board starts what is in `folder`."""
    before = _text(prompt, OWN_START)
    if before is not None and not before.startswith(MARK.encode()) and _text(prompt, KEPT_START) is None:
        prompt.write(KEPT_START, before)
    start = f'{MARK}\nimport sys\n\nsys.path.insert(0, "{folder}")\nimport {BEGIN}\n'
    prompt.write(OWN_START + ".new", start.encode())
    _run(prompt, RENAME, FROM=OWN_START + ".new", TO=OWN_START)


def _started(prompt: Prompt) -> str | None:
    """The folder that the board starts from, if it is one of ours."""
    text = _text(prompt, OWN_START)
    if text is None or not text.startswith(MARK.encode()):
        return None
    return next((folder for folder in FOLDERS if f'"{folder}"'.encode() in text), None)


def _hashes(prompt: Prompt, folder: str) -> dict[str, str]:
    return json.loads(_run(prompt, HASHES, TOP=folder).replace("'", '"'))


def _text(prompt: Prompt, path: str) -> bytes | None:
    """What a short file holds, None where there is none."""
    prompt.run(f"try:\n _text = open({path!r}, 'rb').read()\nexcept OSError:\n _text = None")
    return prompt.value("_text")


def _run(prompt: Prompt, code: str, **names: object) -> str:
    """Run a script in which these names stand for values."""
    return prompt.run("".join(f"{name} = {value!r}\n" for name, value in names.items()) + code)
