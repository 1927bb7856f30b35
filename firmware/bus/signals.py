"""Channels of kind can: what an engine computer says by itself, taken out of its frames."""

from bus.link import EXTENDED
from drivers.can_frame import eight
from shared_math import bus


class Signals:
    """listed: (channel, id, extended, (start, length, big), signed, (start, length, big, is) or None) of each."""

    def __init__(self, listed):
        self.ids = tuple([one[1] | (EXTENDED if one[2] else 0) for one in listed])
        self.listed = listed
        self.frame = bytearray(8)

    def take(self, frame_id, room, start, length, tick, held):
        """A frame came: room[start : start + 8], of which `length` bytes count."""
        ids = self.ids
        if frame_id not in ids:
            return
        frame = self.frame
        eight(frame, 0, room, start)  # pyright: ignore[reportCallIssue]
        for n in range(len(ids)):
            if ids[n] == frame_id:
                channel, _, _, place, signed, when = self.listed[n]
                if bus.last_byte(place[0], place[1], place[2]) >= length:
                    continue
                if when and bus.extract(frame, when[0], when[1], when[2], False) != when[3]:
                    continue
                held.hold(channel, bus.extract(frame, place[0], place[1], place[2], signed), tick)
