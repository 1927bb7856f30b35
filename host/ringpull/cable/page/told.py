"""What the page is told of a session and its readings, and of the pulls that were judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ringpull.analysis.drive_state import roles
from ringpull.analysis.judge.verdict import ATTENTION, NO_EVENT
from ringpull.errors import RingpullError
from ringpull.files.configuration import Configuration, ConfiguredChannel
from ringpull.report import answer_part, cards
from ringpull.report.data import role_of
from ringpull.report.page import load_unit
from ringpull.report.words import following, listed, text
from ringpull.said import say
from ringpull.wording import first, holes
from ringpull.wording.next_steps import next_steps
from shared_math.faults import FAULTS
from shared_math.obd import status

if TYPE_CHECKING:
    from pathlib import Path

    from ringpull.analysis.answer import Answer
    from ringpull.cable.newest import Newest, Now
    from ringpull.drive import Drive

MOST_CARDS = 6
SENTENCES = {number: sentence for number, sentence, _, _ in FAULTS.values()}


class Session:
    """One session's channels, in the order of a reading's values."""

    def __init__(self, newest: Newest) -> None:
        self.newest = newest
        self.columns = [one for channel in newest.channels for one in self._columns(channel)]

    def _columns(self, channel: ConfiguredChannel) -> list[dict[str, str]]:
        lambdas = {one.name for one in roles.lambda_channels(self.newest.channels)}
        one = {
            "column": channel.column,
            "channel": channel.name,
            "label": channel.shown,
            "unit": channel.unit,
            "role": role_of(channel, lambdas),
        }
        if channel.kind != "pulse_width" or not self.newest.crank:
            return [one]
        duty = {"column": channel.duty_column, "label": channel.shown + ", duty", "unit": "%"}
        return [one, one | duty]

    def about(self) -> dict[str, Any]:
        """The session for the page; load: number of the column that is shown large beside engine speed, or -1."""
        config = self.newest.setup.config
        load, fuel = self._load(config), config.assumed_fuel
        return {
            "session": self.newest.session,
            "vehicle": config.vehicle.name,
            "columns": self.columns,
            "load": next((at for at, one in enumerate(self.columns) if one["channel"] == load), -1),
            "fuel": {"name": fuel.name, "stoich_afr": round(float(fuel.stoich_afr), 4)},
        }

    def _load(self, config: Configuration) -> str | None:
        """The channel that the target goes by, else pressure, else throttle."""
        names = [one.load for one in config.targets if one.load is not None]
        for role in ("map", "throttle"):
            found = roles.channel_for(role, self.newest.channels)
            names += [found.name] if found else []
        return names[0] if names else None

    def reading(self, now: Now) -> dict[str, Any]:
        """One reading; null where a channel has no value."""
        values = [now.values[one["column"]] for one in self.columns]
        return {
            "time_s": round(now.time_s, 3),
            "values": [None if value != value else round(value, 4) for value in values],
            "states": {**now.states, **self._fuel_state(now)},
            "target": None if now.target is None else round(now.target, 4),
            "pull": now.open_pull,
            "lean": now.lean,
            "fault": SENTENCES.get(now.fault, "see the sheet of faults") if now.fault else "",
            "lost": now.lost,
        }

    def _fuel_state(self, now: Now) -> dict[str, str]:
        """The state of the car's fuel system in words, by its channel's name; empty if it does not tell."""
        channel = roles.channel_for("fuel_state", self.newest.channels)
        value = float("nan") if channel is None else now.values[channel.column]
        return {} if channel is None or value != value else {channel.name: status.fuel_state(int(value))}


def pulls(drive: Drive, answer: Answer, folder: Path) -> str:
    """The verdict on all pulls in the folder, and a card for each of the newest, the last one first: HTML."""
    events = answer_part.numbered(answer)
    unit = load_unit(answer)
    newest = sorted(answer.pulls, key=lambda one: (one.pull.session, one.pull.start_s), reverse=True)[:MOST_CARDS]
    several = len(drive.sessions) > 1
    made = [
        cards.card(one, [event for event in events if event.pull is one], unit, "", several, go=False) for one in newest
    ]
    return (
        f'<div class="cards">{made[0] if made else ""}{_verdict(answer)}{"".join(made[1:])}</div>'
        f'<p class="quiet">Fetched into {text(folder)}. <a href="/report" target="_blank">The whole report</a></p>'
    )


def _verdict(answer: Answer) -> str:
    kind = {ATTENTION: "lean", NO_EVENT: "fine"}.get(answer.verdict, "open")
    word = answer_part.WORD.get(answer.verdict, "Not enough data")
    sign = answer_part.SIGN.get(answer.verdict, "?")
    doubts, rest = answer_part.why(answer)
    causes = [following(say(holes.cause(one), ".")) for one in answer.holes[:1] if holes.cause(one)]
    count = len(answer.pulls)
    return (
        f'<section class="verdict {kind}" aria-labelledby="word"><h3 id="word"><span class="sign" aria-hidden="true">'
        f'{sign}</span> {word}</h3><p class="quiet">{"1 pull" if count == 1 else f"{count} pulls"} on this card</p>'
        f'<p class="sentence">{following(first.sentence(answer))}</p>'
        + "".join(f'<p class="cause">{one}</p>' for one in causes)
        + listed(doubts, kind="doubts")
        + f"<details><summary>why, and what to do next</summary>{listed(rest)}"
        + f"{listed([following(one) for one in next_steps(answer, answer.holes)], 'ol')}</details></section>"
    )


def no_pulls(error: RingpullError) -> str:
    """Why a pull could not be fetched or judged: HTML."""
    return (
        f'<article class="card open"><h3>A pull has ended, and could not be judged</h3><p>{text(error.what)}</p>'
        f"<p>Likely cause: {text(error.cause)}.</p><p>What to do: {text(error.step)}.</p></article>"
    )
