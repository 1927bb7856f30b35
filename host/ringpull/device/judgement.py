"""The judgement of a configuration: mistakes, advice, and what each channel is used for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ringpull.device import advice, impossible, load, uses
from shared_math import config


@dataclass(frozen=True)
class Point:
    """One message of `check`, with its code."""

    code: str
    what: str
    why: str
    step: str


@dataclass(frozen=True)
class Judgement:
    """mistakes: they prevent the file's use. impossible: they prevent an answer. first: to follow up before the first
    drive. known: worth knowing. channels: the use of each channel; empty if there are mistakes."""

    mistakes: tuple[Point, ...]
    impossible: tuple[Point, ...] = ()
    first: tuple[Point, ...] = ()
    known: tuple[Point, ...] = ()
    channels: tuple[uses.Use, ...] = ()

    @property
    def works(self) -> bool:
        """Whether drives logged with it can give an answer."""
        return not (self.mistakes or self.impossible)

    @property
    def sentence(self) -> str:
        """The last line of `check`."""
        if self.mistakes:
            return f"can't be used: {len(self.mistakes)} to correct"
        if self.impossible:
            return f"records, but can give no answer: {len(self.impossible)} to correct"
        said = []
        if self.first:
            said.append(f"{len(self.first)} thing{'s' if len(self.first) > 1 else ''} to look at first")
        if self.known:
            said.append(f"{len(self.known)} worth knowing")
        return "works; " + (", ".join(said) or "nothing to look at")


def judge(settings: dict[str, Any]) -> Judgement:
    """The judgement of a configuration as read from its file, without defaults."""
    problems = [Point(problem[0], *config.explain(problem)) for problem in config.check(settings)]
    if problems:
        return Judgement(tuple(problems))
    too_much = load.refusal(settings)
    if too_much is not None:
        return Judgement((Point("too_much_for_board", *too_much),), channels=tuple(uses.uses(settings)))
    thoughts = advice.advice(settings)
    points = [(thought[0] in advice.FIRST, Point(thought[0], *advice.explain(thought))) for thought in thoughts]
    estimate = load.remark(settings)
    if estimate is not None:
        points.append((False, Point("load_not_measured", *estimate)))
    return Judgement(
        mistakes=(),
        impossible=tuple(Point(one[0], *impossible.explain(one)) for one in impossible.impossible(settings)),
        first=tuple(point for first, point in points if first),
        known=tuple(point for first, point in points if not first),
        channels=tuple(uses.uses(settings)),
    )
