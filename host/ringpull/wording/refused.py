"""The sentences about a configuration in a recording that this program can't use."""

from __future__ import annotations

from collections.abc import Sequence

from ringpull.said import Said, inner, say
from shared_math import config

CAUSE = say("the logger was newer than this program, or its setup is damaged")
STEP = say(
    "Read this drive with the newest version of this program. If that can't use it either, keep the drive on a shelf "
    "(ringpull keep) and judge it by the logger.json that it was recorded with, corrected until ringpull check accepts "
    "it: ringpull rejudge SHELF --car NAME --config logger.json. It need not be driven again."
)


def what(problem: tuple[str, str, str], sessions: Sequence[int] = ()) -> Said:
    """That a configuration can't be used, and which key or value is refused. sessions: which, () for all."""
    of = "in the recording"
    if sessions:
        of = f"of session{'s' if len(sessions) > 1 else ''} {', '.join(str(one) for one in sessions)}"
    return say(f"the configuration {of} can't be used: {_refused(problem)}")


def _refused(problem: tuple[str, str, str]) -> str:
    code, where, _ = problem
    if code == "unreadable":
        return "its parts do not fit together"
    if code == "not_object" and not where:
        return "there is none, or it is no group of keys"
    return inner(config.explain(problem)[0])
