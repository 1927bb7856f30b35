"""The terminal page of `ringpull live`: mixture against target first, then every channel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from ringpull.analysis.drive_state import roles
from ringpull.cli.terminal import printable
from ringpull.files.configuration import ConfiguredChannel
from shared_math.faults import FAULTS

if TYPE_CHECKING:
    from ringpull.cable.newest import Newest, Now

HALF = 20  # letters on either side of the target
REACH = 0.10  # lambda at the end of the bar
SENTENCES = {number: sentence for number, sentence, _, _ in FAULTS.values()}
ROWS = 14


class Page:
    """newest: of the session that is shown."""

    def __init__(self, newest: Newest) -> None:
        self.newest = newest
        self.session = newest.session
        self.channels = newest.channels
        self.lambdas = roles.lambda_channels(newest.channels)

    def of(self, now: Now) -> Text:
        """The page for one reading."""
        out = self._head(now)
        for one in self.lambdas:
            out.append("\n").append_text(self._mixture(one, now))
        return out.append("\n\n" + self._table(now))

    def _head(self, now: Now) -> Text:
        out = Text(no_wrap=True, overflow="crop").append(f"session {self.session}   {now.time_s:8.1f} s   ", "bold")
        if now.lean:
            out.append(" LEAN ", "bold reverse")
        elif now.fault:
            out.append(f" fault {now.fault}: {SENTENCES.get(now.fault, 'see the sheet of faults')} ", "bold")
        elif now.open_pull:
            out.append(f" pull {now.open_pull} is being marked ", "bold")
        else:
            out.append(" recording ")
        if now.lost:
            out.append(f"   {now.lost} rows lost")
        return out

    def _mixture(self, channel: ConfiguredChannel, now: Now) -> Text:
        """Lambda, what is wanted, and how far apart they are: lean to the right."""
        value = now.values[channel.column]
        out = Text(f"{printable(channel.shown):<16} ")
        if value != value:
            out.append("  --   " + printable(now.states.get(channel.name, "outside the sensor's range")))
            return out
        out.append(f"{value:6.3f}", "bold")
        if now.target is None:
            out.append("   no target here")
            return out
        off = value - now.target
        letters = ["·"] * (2 * HALF + 1)
        end = max(-HALF, min(HALF, round(off / REACH * HALF)))
        for at in range(min(0, end), max(0, end) + 1):
            letters[HALF + at] = "█"
        letters[HALF] = "│"
        out.append(f"  wanted {now.target:.3f}  rich {''.join(letters)} lean  {off:+.3f}")
        return out

    def _table(self, now: Now) -> str:
        """Every channel with its value, in two columns where there are many. Plain lines: a table of the terminal
        library took a tenth of a processor to draw ten times a second."""
        cells = []
        wide = max(map(len, now.values), default=0)
        for name, value in now.values.items():
            state = now.states.get(name)
            text = f"{value:10.3f}" if abs(value) < 10 else f"{value:10.1f}"
            told = printable(state) if state else "--" if value != value else text
            cells.append(f"{printable(name):<{wide}}  {told:>10}")
        half = (len(cells) + 1) // 2 if len(cells) > ROWS else len(cells)
        return "\n".join("    ".join(cells[at::half]) for at in range(half))
