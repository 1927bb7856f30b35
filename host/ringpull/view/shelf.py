"""The drives that the page was given: read by a process of their own, with their pulls, lean events and remarks."""

from __future__ import annotations

import json
import threading
from pathlib import Path

from ringpull.report import data
from ringpull.view import reader
from ringpull.view.shown import Shown

NAME = "times.json"


def remarks_path(source: Path) -> Path:
    """Where remarks on times are kept: in the card folder, or beside a single ring file."""
    return source / NAME if source.is_dir() else source.with_name(source.name + "." + NAME)


class Shelved:
    """One drive. Raises RingpullError where it can't be read."""

    def __init__(self, source: Path) -> None:
        import ringpull

        self.source = source
        self.drive = ringpull.read(source)
        self.spans: list[dict] = data.marked(self.drive)
        self.fault = ""
        self.words = ""
        self.report = b""
        self.done = False
        self._columns = {s.id: data.described(s) for s in self.drive.sessions}
        self.shown = {s.id: Shown(s, [one["column"] for one in self._columns[s.id]]) for s in self.drive.sessions}
        self._lock = threading.Lock()
        self._process = None
        self._listener = threading.Thread(target=self._listen, daemon=True)

    def start(self) -> None:
        """Have a glance, and begin to read."""
        self._process = reader.begin(self.source)
        for shown in self.shown.values():
            shown.glance()
        self._listener.start()

    def wait(self) -> None:
        """Until everything is read."""
        self._listener.join()

    def stop(self) -> None:
        """Leave off reading."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def _listen(self) -> None:
        assert self._process is not None
        for what, *told in reader.messages(self._process):
            if what == "read":
                session, rows, *buckets = told
                self.shown[session].pyramid.put(*buckets)
                self.shown[session].read = max(rows, self.shown[session].read)
            elif what == "spans":
                self.spans = told[0]
            elif what == "verdict":
                self.words = told[0]
            elif what == "report":
                self.report = told[0]
            elif what == "fault":
                self.fault = told[0]
        if self._process.wait() > 0 and not self.fault:
            self.fault = "error: reading stopped\n  likely cause: a fault of this program\n  what to do: make a report"
        self.done = True

    def told(self) -> dict:
        """What the page needs to know."""
        sessions = []
        for session in self.drive.sessions:
            shown = self.shown[session.id]
            sessions.append(
                {
                    "id": session.id,
                    "period_s": session.period_s,
                    "range_s": (session.start_s, session.duration_s),
                    "rows": session.rows,
                    "read": shown.read,
                    "done": shown.done,
                    "columns": self._columns[session.id],
                }
            )
        return {
            "name": self.source.name,
            "sessions": sessions,
            "spans": self.spans,
            "verdict": self.words,
            "report": bool(self.report),
            "fault": self.fault,
            "done": self.done,
            "remarks": self.remarks(),
        }

    def remarks(self) -> list[dict]:
        """Remarks on times: [{"session", "time_s", "text"}], in order. A file that can't be read counts as none."""
        try:
            found = json.loads(remarks_path(self.source).read_text(encoding="utf-8"))
            return [{"session": int(r["session"]), "time_s": float(r["time_s"]), "text": str(r["text"])} for r in found]
        except (OSError, ValueError, TypeError, KeyError):
            return []

    def remark(self, session: int, time_s: float, text: str) -> None:
        """Keep a remark; an empty text removes the one at that time. OSError where it can't be written."""
        with self._lock:
            kept = [r for r in self.remarks() if (r["session"], r["time_s"]) != (session, time_s)]
            if text:
                kept.append({"session": session, "time_s": time_s, "text": text})
            kept.sort(key=lambda r: (r["session"], r["time_s"]))
            path = remarks_path(self.source)
            fresh = path.with_name(path.name + ".new")
            fresh.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
            fresh.replace(path)
