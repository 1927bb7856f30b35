"""The server of the local page: serves only the drives it was given."""

from __future__ import annotations

import json
import shutil
import tempfile
import threading
from pathlib import Path

import numpy as np

from ringpull.errors import RingpullError
from ringpull.files.remarks import times_path
from ringpull.view.local import LocalHandler, LocalServer, Refused
from ringpull.view.shelf import Shelved
from ringpull.view.shown import Shown

MOST_BODY = 1 << 32  # most bytes of a dropped file, and of all dropped files together
LEAST_FREE = 1 << 29  # bytes of the disk that dropped files must leave free
MOST_WIDTH = 8192
MOST_TEXT = 1 << 16
MOST_NAME = 200  # most bytes of a dropped file's name


class Server(LocalServer):
    """Serves drives on a port of this machine; port 0 takes any free port."""

    def __init__(self, shelf: list[Shelved], port: int = 0) -> None:
        self.shelf = shelf
        self.dropped = Path(tempfile.mkdtemp(prefix="ringpull-view-"))
        super().__init__(Handler, port)
        self._room = threading.Lock()
        self._taken = 0

    def take_room(self, size: int) -> None:
        """Reserve room for a dropped file. Raises Refused if there is too little."""
        with self._room:
            free = shutil.disk_usage(self.dropped).free - LEAST_FREE
            if self._taken + size > MOST_BODY or size > free:
                raise Refused(413, "the files dropped so far leave no room for this one: give it to ringpull view")
            self._taken += size

    def give_room(self, size: int) -> None:
        """Release the room of a file that was refused after all."""
        with self._room:
            self._taken -= size

    def server_close(self) -> None:
        super().server_close()
        for one in self.shelf:
            one.stop()
        shutil.rmtree(self.dropped, ignore_errors=True)


class Handler(LocalHandler):
    """One connection."""

    server: Server

    def gets(self) -> dict:
        return {
            "/": self._page,
            "/state": self._state,
            "/known": self._known,
            "/window": self._window,
            "/row": self._row,
            "/export": self._export,
            "/report": self._report,
        }

    def posts(self) -> dict:
        return {"/remark": self._remark, "/drop": self._drop}

    def _page(self, _: dict) -> None:
        from ringpull.view.page import page

        self.send(page(self.server.shelf).encode("utf-8", "replace"), "text/html; charset=utf-8")

    def _state(self, _: dict) -> None:
        self.send_json({"drives": [one.state() for one in self.server.shelf]})

    def _known(self, asked: dict) -> None:
        self.send(self._shelved(asked).known(), "application/json")

    def _shown(self, asked: dict) -> Shown:
        return self._shelved(asked).shown[int(asked["session"])]

    def _shelved(self, asked: dict) -> Shelved:
        number = int(asked["drive"])
        if number < 0:
            raise ValueError
        return self.server.shelf[number]

    def _window(self, asked: dict) -> None:
        width = min(max(int(asked["width"]), 1), MOST_WIDTH)
        start_s, end_s = span_of(asked)
        period_s, runs, samples, fine = self._shown(asked).window(start_s, end_s, width)
        head = json.dumps({"period_s": period_s, "runs": runs, "rows": samples.shape[1], "fine": fine}).encode()
        head += b" " * (-len(head) % 4)
        body = np.uint32(len(head)).astype("<u4").tobytes() + head + samples.astype("<f4", copy=False).tobytes()
        self.send(body, "application/octet-stream")

    def _row(self, asked: dict) -> None:
        time_s = float(asked["time"])
        if not np.isfinite(time_s):
            raise ValueError
        shown = self._shown(asked)
        try:
            found = shown.nearest(time_s)
        except LookupError:
            raise Refused(404, "there is no such row") from None
        if found is None:
            return self.send_json({}, 202)  # it is being decoded: ask again
        self.send_json({"time_s": found[0], "values": [None if v != v else float(v) for v in found[1]]})

    def _export(self, asked: dict) -> None:
        spans = [span_of(dict(zip(("start", "end"), one.split(":"), strict=True))) for one in asked["spans"].split(",")]
        only = None
        if "column" in asked:
            column = self._shown(asked).names[int(asked["column"])]
            only = (column, *span_of({"start": asked["low"], "end": asked["high"]}))
        pieces = self._shown(asked).csv(spans, only)
        self.send_head(
            "text/csv; charset=utf-8",
            Content_Disposition='attachment; filename="window.csv"',
            Transfer_Encoding="chunked",
        )
        for piece in pieces:
            self.wfile.write(b"%x\r\n%s\r\n" % (len(piece), piece) if piece else b"")
        self.wfile.write(b"0\r\n\r\n")

    def _report(self, asked: dict) -> None:
        page = self._shelved(asked).report
        if not page:
            raise Refused(
                404, "there is no report of this drive: it is still being read, or too long (ringpull report)"
            )
        self.send(page, "text/html; charset=utf-8")

    def _body(self, most: int) -> int:
        length = int(self.headers.get("Content-Length") or 0)
        if not 0 < length <= most:
            raise Refused(413, "the request is empty or too large")
        return length

    def _remark(self, _: dict) -> None:
        told = json.loads(self.rfile.read(self._body(MOST_TEXT)))
        time_s = round(float(told["time_s"]), 6)
        if not np.isfinite(time_s):
            raise ValueError
        one, session = self._shelved(told), self._shown(told).session.id
        text = str(told["text"]).strip()
        text.encode()
        try:
            one.remark(session, time_s, text)
        except OSError as fault:
            raise Refused(507, f"the remark can't be kept beside the ring file: {fault.strerror}") from None
        except ValueError:
            name = times_path(one.source, one.drive.older_ring).name
            raise Refused(
                507, f"the remark can't be kept: {name} beside the ring file is damaged; move it away"
            ) from None
        self.send_json({"remarks": one.remarks()})

    def _drop(self, asked: dict) -> None:
        left = self._body(MOST_BODY)
        name = Path(asked["name"].replace("\\", "/")).name
        if not name or name.startswith(".") or len(name.encode()) > MOST_NAME:
            raise ValueError
        size = left
        self.server.take_room(size)
        folder = Path(tempfile.mkdtemp(dir=self.server.dropped))
        try:
            with (folder / name).open("wb") as out:
                while left:
                    piece = self.rfile.read(min(left, 1 << 20))
                    if not piece:
                        raise Refused(400, "the file arrived incomplete")
                    out.write(piece)
                    left -= len(piece)
            fresh = Shelved(folder / name, dropped=True)
        except BaseException as fault:
            shutil.rmtree(folder, ignore_errors=True)
            self.server.give_room(size)
            if isinstance(fault, RingpullError):
                raise Refused(422, fault.lines()) from None
            raise
        self.server.shelf.append(fresh)
        fresh.start()
        self.send_json({"drive": len(self.server.shelf) - 1})


def span_of(asked: dict) -> tuple[float, float]:
    """(start_s, end_s) of a request. Raises ValueError if they are not a valid span."""
    start_s, end_s = float(asked["start"]), float(asked["end"])
    if not (np.isfinite(start_s) and np.isfinite(end_s) and start_s <= end_s):
        raise ValueError
    return start_s, end_s
