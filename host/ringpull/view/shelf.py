"""The drives that the page was given: read by a process of their own, with their pulls, lean events and remarks."""

from __future__ import annotations

import json
import subprocess
import threading
from pathlib import Path

from ringpull.errors import RingpullError
from ringpull.files.remarks import read_notes, read_times, replace_text, times_path
from ringpull.report import data
from ringpull.view import decoder, reader
from ringpull.view.rows import Want, Wanted
from ringpull.view.shown import Shown

MOST_NAME, MOST_REMARK = 40, 30  # letters of a drive's name


class Shelved:
    """One drive. Raises RingpullError where it can't be read."""

    def __init__(self, source: Path, ring: str | None = None, dropped: bool = False) -> None:
        """dropped: on the page, so that its folder is ours and says nothing."""
        import ringpull

        self.source, self.dropped = source, dropped
        self.drive = ringpull.read(source, ring=ring)
        self.spans: list[dict] = data.marked(self.drive)
        self.fault = ""
        self.words = ""
        self.report = b""
        self.done = False
        self.version = 0  # of what known() gives
        self._columns = {s.id: data.described(s) for s in self.drive.sessions}
        wanted = Wanted(self._send, self._missing)
        self.shown = {
            s.id: Shown(s, [one["column"] for one in self._columns[s.id]], wanted) for s in self.drive.sessions
        }
        self._known = self._as_known()
        self._lock = threading.Lock()
        self._wanted = wanted
        self._reader: subprocess.Popen | None = None
        self._decoder: subprocess.Popen | None = None
        self._listeners = [threading.Thread(target=one, daemon=True) for one in (self._hear_reader, self._hear_decoder)]

    def start(self) -> None:
        """Have a glance, and begin to read."""
        self._reader, self._decoder = (room.begin(self.source, self.drive.ring_id) for room in (reader, decoder))
        for shown in self.shown.values():
            shown.glance()
        for one in self._listeners:
            one.start()

    def wait(self) -> None:
        """Until everything is read."""
        self._listeners[0].join()

    def stop(self) -> None:
        """Leave off reading."""
        for process in (self._reader, self._decoder):
            if process is not None:
                process.kill()
                process.wait()

    def _send(self, want: Want) -> None:
        try:
            assert self._decoder is not None
            decoder.send(self._decoder, want)
        except (OSError, ValueError, AssertionError):
            self._alone()

    def _alone(self) -> None:
        """Without the decoder's process rows are decoded here."""
        for shown in self.shown.values():
            shown.rows.wanted = None

    def _missing(self, want: Want) -> list[Want]:
        session, first, count = want
        return self.shown[session].rows.missing(first, first + count)

    def _hear_decoder(self) -> None:
        assert self._decoder is not None
        for what, *told in reader.messages(self._decoder):
            if what == "rows":
                session, first, stretches = told
                self.shown[session].rows.put(first, stretches)
                self._wanted.arrived()
            elif what == "fault":
                self.fault = told[0]
        self._alone()

    def _hear_reader(self) -> None:
        assert self._reader is not None
        for what, *told in reader.messages(self._reader):
            if what == "read":
                session, rows, *buckets = told
                self.shown[session].pyramid.put(*buckets)
                self.shown[session].read = max(rows, self.shown[session].read)
            elif what == "judged":
                session, columns, rows, values = told
                self.shown[session].add(rows, values)
                self._columns[session] = self._columns[session][: len(self.shown[session].names)] + columns
            elif what == "spans":
                self.spans = told[0]
                self._known = self._as_known()
                self.version += 1
            elif what == "verdict":
                self.words = told[0]
            elif what == "report":
                self.report = told[0]
            elif what == "fault":
                self.fault = told[0]
        if self._reader.wait() > 0 and not self.fault:
            self.fault = "error: reading stopped\n  likely cause: a fault of this program\n  what to do: make a report"
        self.done = True

    def known(self) -> bytes:
        """JSON of what the page needs to know once: name, sessions with their channels, spans of pulls and lean events;
        anew with each `version`."""
        return self._known

    def _as_known(self) -> bytes:
        sessions = [
            {
                "id": session.id,
                "period_s": session.period_s,
                "range_s": (session.start_s, session.duration_s),
                "rows": session.rows,
                "columns": self._columns[session.id],
            }
            for session in self.drive.sessions
        ]
        return json.dumps({"name": self.name, "sessions": sessions, "spans": self.spans}).encode()

    @property
    def name(self) -> str:
        """What people tell the drive by: vehicle, date, folder, first remark, as far as there are such."""
        from ringpull.report.answer_part import known_facts

        facts = dict(known_facts(self.drive))
        path = self.source.absolute()
        folder = self.source.name if self.dropped or not path.parent.name else f"{path.parent.name}/{path.name}"
        remark = next((one["text"] for one in self.remarks()), "")
        words = (facts["vehicle"][:MOST_NAME], facts["date"], folder, remark[:MOST_REMARK])
        return ", ".join(word for word in words if word)

    def state(self) -> dict:
        """What changes while the drive is being read."""
        return {
            "version": self.version,
            "read": {session: shown.read for session, shown in self.shown.items()},
            "verdict": self.words,
            "report": bool(self.report),
            "fault": self.fault,
            "done": self.done,
            "remarks": self.remarks(),
        }

    def remarks(self) -> list[dict]:
        """Remarks on moments and, with "pull", on pulls: [{"session", "time_s", "text"}], in order of time. A file that
        can't be read counts as none."""
        try:
            kept = self._kept()
        except (OSError, ValueError):
            kept = []
        try:
            notes = read_notes(self.source, self.drive.older_ring)
        except RingpullError:
            notes = {}
        for span in self.spans:
            text = notes.get(str(span["number"])) if span["kind"] == "pull" else None
            if text:
                kept.append(
                    {"session": span["session"], "time_s": span["start_s"], "text": text, "pull": span["number"]}
                )
        return sorted(kept, key=lambda r: (r["session"], r["time_s"]))

    def _kept(self) -> list[dict]:
        """The remarks on moments; OSError, or ValueError, where the file is there and can't be read."""
        return [one._asdict() for one in read_times(self.source, self.drive.older_ring)]

    def remark(self, session: int, time_s: float, text: str) -> None:
        """Keep a remark; an empty text removes the one at that time. OSError where it can't be written, ValueError
        where what is kept already can't be read: it is not written over."""
        with self._lock:
            kept = [r for r in self._kept() if (r["session"], r["time_s"]) != (session, time_s)]
            if text:
                kept.append({"session": session, "time_s": time_s, "text": text})
            kept.sort(key=lambda r: (r["session"], r["time_s"]))
            replace_text(
                times_path(self.source, self.drive.older_ring), json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
            )
