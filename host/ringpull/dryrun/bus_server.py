"""The other end of the desk's bus: units that answer, broadcasts, testers and faults, in the desk's own time.

The lines are those of firmware/boards/desk_bus.py.
"""

from __future__ import annotations

import contextlib
import heapq
import itertools
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from shared_math.obd import transport

EXTENDED = 1 << 29
NEVER_US = 1 << 60
FRAME_BITS = 130  # of a frame with eight bytes, stuffing included
ALL = 0x7DF
ALL_29 = 0x18DB33F1 | EXTENDED

# (request, seconds) -> payloads that are sent one after the other; none: no answer
Answers = Callable[[bytes, float], list[bytes]]


@dataclass
class Unit:
    """One computer of the car. answer_id: of its frames. answers: what it says. delay_s: until it says it.
    separation: what it asks of who sends to it. longer_s: after a reply that announces a later one."""

    answer_id: int
    answers: Answers
    delay_s: float = 0.020
    longer_s: float = 0.5
    padding: int | None = 0xAA
    functional: bool = True

    @property
    def asked_id(self) -> int:
        """The id that it listens to."""
        if self.answer_id & EXTENDED:
            return 0x18DA00F1 | (self.answer_id & 0xFF) << 8 | EXTENDED
        return self.answer_id - 8


@dataclass
class Broadcast:
    """A frame that comes every `period_s`, its bytes made of the time."""

    frame_id: int
    period_s: float
    data: Callable[[float], bytes]
    first_s: float = 0.0
    until_s: float = 1e9


@dataclass
class BusServer:
    """A car. there: whether anybody acknowledges. awake: whether it answers and broadcasts at a time in seconds.
    hurt: changes what the units send: (time_us, id, bytes) -> list of the same; frames may be lost, doubled, late."""

    units: list[Unit] = field(default_factory=list)
    broadcasts: list[Broadcast] = field(default_factory=list)
    kbit: int = 500
    there: bool = True
    awake: Callable[[float], bool] = lambda _time_s: True
    hurt: Callable[[int, int, bytes], list[tuple[int, int, bytes]]] | None = None
    counter: int = 0  # what the controller's error counters say once something was sent
    sent: list[tuple[float, int, bytes]] = field(default_factory=list)  # by the logger
    listened_while_sending: int = 0

    def start(self) -> list:
        """[host, port] where the car waits for one logger."""
        self._events: list[tuple[int, int, int, bytes]] = []
        self._order = itertools.count()
        self._free_us = 0  # when the wire is free
        self._now_us = 0
        self._kbit = 0
        self._listening = True
        self._failed = 0
        self._senders: dict[int, transport.Sender] = {}
        self._queues: dict[int, list[bytes]] = {}
        for broadcast in self.broadcasts:
            self._push(round(broadcast.first_s * 1e6), broadcast.frame_id, b"")
        server = socket.create_server(("127.0.0.1", 0))
        threading.Thread(target=self._serve, args=(server,), daemon=True).start()
        return list(server.getsockname()[:2])

    def _push(self, at_us: int, frame_id: int, data: bytes) -> None:
        heapq.heappush(self._events, (at_us, next(self._order), frame_id, data))

    def _serve(self, server: socket.socket) -> None:
        while True:  # a logger that begins again calls again
            line, _ = server.accept()
            with contextlib.suppress(ConnectionError):  # a logger that is stopped hangs up wherever it is
                self._talk(line)

    def _talk(self, line: socket.socket) -> None:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._free_us = 0
        with line, line.makefile("rb") as said:
            for text in said:
                if not text.endswith(b"\n"):
                    return
                *acts, until = text.decode().strip().split(";")
                for act in acts:
                    self._act(act.split())
                line.sendall(self._until(int(until.split()[1])).encode())

    def _act(self, words: list[str]) -> None:
        self._now_us = int(words[1])
        if words[0] == "M":
            self._kbit, self._listening = int(words[2]), words[3] == "1"
            return
        frame_id, data = int(words[2], 16), bytes.fromhex(words[3])
        self.sent.append((self._now_us / 1e6, frame_id, data))
        if self._listening:
            self.listened_while_sending += 1
        self._failed = int(not self.there or self._kbit != self.kbit)
        if not self._failed:
            self._free_us = max(self._free_us, self._now_us) + self._frame_us()
            self._took(frame_id, data, self._free_us)

    def _frame_us(self) -> int:
        return 1000 * FRAME_BITS // self.kbit

    def _took(self, frame_id: int, data: bytes, now_us: int) -> None:
        """A frame of the logger's is on the bus."""
        if not self.awake(now_us / 1e6):
            return
        if data[0] >> 4 == 3:
            for unit in self.units:
                sender = self._senders.get(unit.answer_id)
                if unit.asked_id == frame_id and sender:
                    sender.flow(data, now_us)
                    self._go_on(unit, now_us)
            return
        request = data[1 : 1 + (data[0] & 0x0F)]
        for unit in self.units:
            to_all = frame_id == (ALL_29 if unit.answer_id & EXTENDED else ALL)
            if frame_id == unit.asked_id or (to_all and unit.functional):
                at_us = now_us
                for payload in unit.answers(request, now_us / 1e6):
                    at_us += round(unit.delay_s * 1e6)
                    self._begin(unit, payload, at_us)
                    if payload[:1] == b"\x7f":
                        at_us += round(unit.longer_s * 1e6)

    def _begin(self, unit: Unit, payload: bytes, at_us: int) -> None:
        sender = transport.Sender(unit.padding)  # pyright: ignore[reportArgumentType]
        sender.begin(payload)
        first = sender.frame(at_us)
        assert first is not None
        if sender.busy():
            self._senders[unit.answer_id] = sender
        self._put(at_us, unit.answer_id, first)

    def _go_on(self, unit: Unit, now_us: int) -> None:
        """Consecutive frames that the flow control allows, each when its separation time has passed."""
        sender = self._senders[unit.answer_id]
        at_us = now_us + 300
        while sender.busy():
            frame = sender.frame(at_us)
            if frame is not None:
                self._put(at_us, unit.answer_id, frame)
            elif at_us > now_us + 2_000_000 or not self._may_go_on(sender):
                return
            at_us += 250

    @staticmethod
    def _may_go_on(sender: transport.Sender) -> bool:
        return sender._left != 0

    def _put(self, at_us: int, frame_id: int, data: bytes) -> None:
        for one in self.hurt(at_us, frame_id, data) if self.hurt else [(at_us, frame_id, data)]:
            self._push(*one)

    def _until(self, until_us: int) -> str:
        while self._events:
            at_us, _, frame_id, data = self._events[0]
            if max(at_us, self._free_us) + self._frame_us() > until_us:
                break
            heapq.heappop(self._events)
            if not data:
                data = self._broadcast(at_us, frame_id)
                if data is None:
                    continue
            if self.kbit != self._kbit or not self.awake(at_us / 1e6):
                continue
            self._free_us = max(at_us, self._free_us) + self._frame_us()
            return f"F {self._free_us} {frame_id:x} {data.hex()}\n"
        following = self._events[0][0] if self._events else NEVER_US
        return f"N {following} {self._failed} {self.counter if self.sent else 0}\n"

    def _broadcast(self, at_us: int, frame_id: int) -> bytes | None:
        """The bytes of the frame that comes by itself now, and the next one laid ready."""
        broadcast = next(one for one in self.broadcasts if one.frame_id == frame_id)
        following = at_us + round(broadcast.period_s * 1e6)
        if following < broadcast.until_s * 1e6:
            self._push(following, frame_id, b"")
        return broadcast.data(at_us / 1e6)
