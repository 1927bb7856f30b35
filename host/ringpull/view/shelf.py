"""The drives that the page was given: read in the background, with their pulls, lean events and remarks."""

from __future__ import annotations

import json
import threading
from pathlib import Path

from ringpull.errors import RingpullError
from ringpull.report import answer_part, data
from ringpull.view.pyramid import Pyramid

MOST_JUDGED_S = 7200.0  # longer sessions are shown at once; their answer is left to the report
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
        self.spans: list[dict] = []
        self.fault = ""
        self.words = ""
        self._columns = {s.id: data.described(s) for s in self.drive.sessions}
        self.pyramids = {
            s.id: Pyramid([one["column"] for one in self._columns[s.id]], s.period_s) for s in self.drive.sessions
        }
        self._lock = threading.Lock()
        self._worker = threading.Thread(target=self._read, daemon=True)

    def start(self) -> None:
        """Begin to read."""
        self._worker.start()

    def wait(self) -> None:
        """Until everything is read."""
        self._worker.join()

    def _read(self) -> None:
        try:
            for session in self.drive.sessions:
                self.pyramids[session.id].fill(session.tables())
            if sum(s.duration_s for s in self.drive.sessions) <= MOST_JUDGED_S:
                from ringpull.analysis.answer import answer

                found = answer(self.drive)
                self.spans = data.spans(found, answer_part.numbered(found))
                self.words = found.verdict
        except RingpullError as error:
            self.fault = error.lines()

    def told(self) -> dict:
        """What the page needs to know."""
        sessions = []
        for session in self.drive.sessions:
            pyramid = self.pyramids[session.id]
            sessions.append(
                {
                    "id": session.id,
                    "period_s": session.period_s,
                    "range_s": pyramid.range_s(),
                    "rows": session.rows,
                    "read": pyramid.rows,
                    "done": pyramid.done,
                    "columns": self._columns[session.id],
                }
            )
        return {
            "name": self.source.name,
            "sessions": sessions,
            "spans": self.spans,
            "verdict": self.words,
            "fault": self.fault,
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

    def csv(self, session_id: int, start_s: float, end_s: float):
        """Lines of CSV of a window: the decoded rows as they are, empty where invalid."""
        session = self.drive.session(session_id)
        names = ["time_s", *self.pyramids[session_id].columns]
        yield ",".join(names) + "\r\n"
        for table in session.tables():
            times = table["time_s"]
            if times[-1] < start_s or times[0] > end_s:
                continue
            keep = (times >= start_s) & (times <= end_s)
            for row in zip(*(table[name][keep].tolist() for name in names), strict=True):
                yield ",".join("" if v != v else f"{v:.10g}" for v in row) + "\r\n"
