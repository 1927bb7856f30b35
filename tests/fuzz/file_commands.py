"""One made-up file through every command: an answer or three lines, no traceback, and the rows of the second reader."""

from __future__ import annotations

import io
import json
import shutil
import threading
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

from file_readers import rows_of_second
from made_files import Made

from ringpull.cli import main

EXIT_CODES = (0, 1, 2, 3)


def run(*words: object) -> tuple[int, str]:
    """(exit code, what was printed) of a command; whatever it raises comes through."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main.main([str(word) for word in words])
        except SystemExit as stop:
            code = int(stop.code or 0)
    told = err.getvalue()
    assert code in EXIT_CODES, f"exit code {code}"
    assert "Traceback" not in told, told
    assert "Error" not in told.split("error:")[0], told
    if code == 2:
        assert "error:" in told and "what to do" in told, told
    return code, out.getvalue()


def every(source: Path, file: Made, other: Path, out: Path, begins: Callable[[str], None]) -> None:
    """All commands on a source. other: a good file, for compare. out: a folder for outputs. begins: hears of each."""
    begins("info")
    code, told = run("info", source, "--json")
    readable = code in (0, 1)
    if readable:
        json.loads(told)
    run("info", source)
    begins("pulls")
    run("pulls", source)
    code, told = run("pulls", source, "--json")
    if code == 0:
        json.loads(told)
    begins("report")
    code, _ = run("report", source, "-o", out / "report.html", "--json", out / "report.json")
    if code in (0, 1):
        answer = json.loads((out / "report.json").read_text())
        assert answer["verdict"] in ("attention", "no lean event found", "not enough data")
        assert "Infinity" not in (out / "report.json").read_text()
    begins("fuelmap")
    run("fuelmap", source, "-o", out / "map.csv")
    begins("compare")
    run("compare", source, other)
    run("compare", source, source)
    begins("power")
    run("power", source, "--mass", 950, "--gear", 60)
    begins("decode")
    _decode(source, out)
    begins("view")
    _view(source, readable)
    for one in out.iterdir():
        shutil.rmtree(one) if one.is_dir() else one.unlink()


def _decode(source: Path, out: Path) -> None:
    """As many rows in the table as the second reader finds."""
    import pyarrow.parquet

    rows = sum(map(len, rows_of_second(source).values()))
    code, _ = run("decode", source, "-o", out / "table.csv")
    assert (code == 0) == (rows > 0), f"exit code {code}, {rows} rows"
    code, _ = run("decode", source, "-o", out / "table.parquet")
    if code == 0:
        assert pyarrow.parquet.read_metadata(out / "table.parquet").num_rows == rows
        with (out / "table.csv").open("rb") as table:
            assert sum(1 for _ in table) == rows + 1


def _view(source: Path, readable: bool) -> None:
    """The page's requests, answered in this process."""
    from ringpull.errors import RingpullError
    from ringpull.view import reader
    from ringpull.view.server import Server
    from ringpull.view.shelf import Shelved

    try:
        shelved = Shelved(source)
    except RingpullError:
        assert not readable
        return
    for shown in shelved.shown.values():
        shown.rows.wanted = None  # decoded here, not by a process of its own
        shown.glance()
    server = Server([shelved])
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    try:
        _ask(server, "/state", {})
        _ask(server, "/known", {"drive": 0})
        _ask(server, "/", {})
        for session in shelved.drive.sessions[:3]:
            for start_s, end_s in ((0, 1e12), (session.start_s, session.start_s + 1), (1e6, 1e6)):
                span = {"drive": 0, "session": session.id, "start": start_s, "end": end_s}
                _ask(server, "/window", span | {"width": 300})
            _ask(server, "/row", {"drive": 0, "session": session.id, "time": session.start_s})
            _ask(server, "/export", {"drive": 0, "session": session.id, "start": 0, "end": 5})
        messages: list[tuple] = []
        try:
            reader.read(source, shelved.drive.ring_id, messages.append)
        except RingpullError:
            pass  # the page tells it
        assert messages
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def _ask(server, path: str, asked: dict) -> None:
    connection = HTTPConnection("127.0.0.1", server.server_port, timeout=300)
    connection.request("GET", f"{path}?{urlencode(asked)}", headers={"Cookie": server.cookie})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    assert answer.status in (200, 400, 404), f"{path}: {answer.status} {body[:200]!r}"
    assert answer.status != 400 or path in ("/window", "/row", "/export"), f"{path}: {answer.status}"
