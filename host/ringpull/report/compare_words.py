"""The sentences beside a comparison: what was compared and how, and what these pulls could not show."""

from __future__ import annotations

from math import isnan

from ringpull.analysis.cells.bin_tests import LEAST_PULLS, LEAST_STEP
from ringpull.analysis.cells.compare import LEAN_SHARE, RICH_SHARE, Comparison, Grounds
from ringpull.analysis.cells.drive_comparison import DriveComparison
from ringpull.said import Figure, lam, say
from ringpull.wording.instruments import doubt
from ringpull.wording.needs import lacking

BETTER_IS = {0: "nearer to target", 1: "more power at the wheels"}


def of_drives(compared: DriveComparison) -> list[str]:
    """All sentences about the comparison of two drives' mixture, but for the unlike pulls."""
    out: list[str] = [doubt(one) for one in compared.contradicted]
    if compared.twice:
        stand = "stands" if compared.twice == 1 else "stand"
        out.append(
            f"{compared.twice} of the pulls {stand} on both sides, the same recording: no change can show in them"
        )
    for name, roles in zip(("before", "after"), compared.lacking, strict=True):
        out += [say(f"{name}: ", lacking(roles))] if roles else []
    if compared.speed_alone:
        out.append("the drives do not have the same load channel, so bins are by engine speed alone")
    return [*out, *of_result(compared.result)]


def of_result(result: Comparison) -> list[str]:
    """The sentences about a comparison of pulls."""
    grounds = result.grounds
    out = [*how(grounds), *banks(grounds), *short(grounds)]
    return out if grounds.would_not_show is None else [*out, would_not_show(grounds, *grounds.would_not_show)]


def how(grounds: Grounds) -> list[str]:
    """What "better" and "worse" mean here."""
    before, after = grounds.pulls
    pulls = f"{before} pull{'' if before == 1 else 's'}"
    words = [f"{pulls} before, {after} after; 'better' means {BETTER_IS[grounds.better_is]}"]
    if not grounds.better_is:
        lean, rich = f"{100 * LEAN_SHARE:.0f} %", f"{100 * RICH_SHARE:.0f} %"
        words.append(
            f"'worse' also means: now more than {lean} lean and leaner than before, or more than {rich} rich and "
            "further from target than before"
        )
    least = f"{LEAST_STEP:.0%}" if grounds.better_is else f"{LEAST_STEP:.2f}"
    return [*words, f"a difference below {least} is not reported"]


def banks(grounds: Grounds) -> list[str]:
    """Remarks about banks."""
    words = [f"{name} is in only one of the drives and is not compared" for name in grounds.alone]
    if len(grounds.tested) > 1:
        words.append(
            f"the banks are tested separately ({', '.join(grounds.tested)}) and all tests are corrected together; of "
            "each bin the worse bank is shown, and the other below it where they differ"
        )
    return words


def short(grounds: Grounds) -> list[str]:
    """What a comparison without an answer lacks."""
    if min(grounds.pulls) < LEAST_PULLS:
        return [f"each side needs at least {LEAST_PULLS} pulls: with one pull, change can't be told from chance"]
    return [] if grounds.enough else ["no bin was visited by two pulls on both sides"]


def would_not_show(grounds: Grounds, whole: float, part: float) -> str:
    """The differences that these pulls would not show."""

    def size(value: float) -> str | Figure:
        return f"{value:.1%}" if grounds.better_is else lam(value)

    rest = () if isnan(part) else (", nor would one of part of it below about ", size(part))
    begins = "a difference of the whole curve below about "
    return say(begins, size(whole), " would not show with these pulls", *rest)
