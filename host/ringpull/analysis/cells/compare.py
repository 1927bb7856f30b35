"""Before and after: two sets of pulls compared by engine speed and load, with the pull as sampling unit.

Two tests are made for every bin (see `bin_tests`), for each bank separately, and the chances of all of them are
corrected together (Holm).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ringpull.analysis.cells import stats
from ringpull.analysis.cells.bin_tests import (
    INTERVAL,
    LEAST_PULLS,
    LEAST_STEP,
    Tested,
    means,
    moved,
    relative,
    side,
)
from ringpull.analysis.cells.passes import Axes, Pass, by_bank

LEVEL = 0.05  # chance that any bin is called changed although both sides are equal
LEAN_SHARE = 0.01  # share of target: a bin that ends leaner than this is worse, even if it is nearer than before
RICH_SHARE = 0.02  # share of target: a bin that ends richer than this and further away is worse; less is not measurable
BANKS_APART = 0.02  # share of target: banks that differ by more are both shown
BETTER, WORSE, NONE, NOT_ENOUGH = "better", "worse", "no difference shown", "not enough data"
ON_TARGET = "moved, still on target"


@dataclass(frozen=True)
class Question:
    """What is compared.

    better_is: 0 for values that should be 1 (lambda over target); 1 if more is better, for logarithms of power, whose
    differences are shares. method_u: standard uncertainty of the method in a bin, whatever the number of pulls.
    """

    better_is: int = 0
    method_u: float = 0.0


@dataclass(frozen=True)
class Bin:
    """One bin. difference: after minus before; low, high: its 95 % interval (single bin).

    relative: the difference against the rest of the curve, NaN if unknown. chance: two-sided, the smaller of both
    tests. changed: significant by Holm over all bins, tests and banks, and LEAST_STEP or more. verdict: "better",
    "worse", "no difference shown", "moved, still on target" or "not enough data". bank: the bin's bank, if several.
    """

    rpm: float
    load: float | None
    before: float
    after: float
    pulls: tuple[int, int]
    difference: float
    low: float
    high: float
    relative: float
    relative_low: float
    relative_high: float
    chance: float
    changed: bool
    verdict: str
    bank: str | None = None


@dataclass(frozen=True)
class Grounds:
    """What a comparison rests on, for the sentences about it. pulls: before, after. better_is: as in Question. enough:
    whether any bin was visited by LEAST_PULLS on both sides. alone: banks that only one side has. tested: banks that
    were tested separately; none where there is one. would_not_show: where nothing changed, the smallest difference of
    the whole curve that these pulls would show, and of a part of it; NaN where unknown."""

    pulls: tuple[int, int] = (0, 0)
    better_is: int = 0
    enough: bool = False
    alone: tuple[str, ...] = ()
    tested: tuple[str, ...] = ()
    would_not_show: tuple[float, float] | None = None


@dataclass(frozen=True)
class Comparison:
    """The result of a comparison.

    bins: of several banks the worse one at each place; others: the bins of the others where
    they differ from it. verdict: over all banks' bins: "better", "worse", "no difference
    shown", "not enough data" or "better and worse". overall: (difference of the pulls' means, low, high), of several
    banks that of the leaner.
    """

    bins: list[Bin]
    verdict: str
    overall: tuple[float, float, float]
    grounds: Grounds = Grounds()
    others: tuple[Bin, ...] = ()

    @property
    def every_bin(self) -> list[Bin]:
        """The bins with those of other banks below them, by load and engine speed."""
        return sorted([*self.bins, *self.others], key=_place)

    @property
    def changed(self) -> bool:
        """Whether any bin changed."""
        return any(b.changed for b in self.bins)


@dataclass(frozen=True)
class _Bank:
    """One bank's values before and after, (bins, pulls), and the results of both tests: of the values as they are, and
    against the rest of their pulls."""

    name: str | None
    keys: list[tuple[int, int]]
    before: np.ndarray
    after: np.ndarray
    enough: np.ndarray
    whole: Tested
    part: Tested

    @property
    def chances(self) -> np.ndarray:
        """The two-sided chances of all tests."""
        return np.concatenate([self.whole.chance, self.part.chance])

    def called(self, rejected: np.ndarray) -> np.ndarray:
        """Which bins are called changed. rejected: which of `chances` are significant.

        A bin that changed only against the rest must itself have changed in the same direction by LEAST_STEP: if most
        of the curve changed, it is the few unchanged bins that differ from the rest.
        """
        whole, part = rejected[: len(self.keys)], rejected[len(self.keys) :]
        with np.errstate(invalid="ignore"):
            counts = np.abs(self.whole.difference) >= LEAST_STEP
            agrees = (np.abs(self.part.difference) >= LEAST_STEP) & (
                np.sign(self.part.difference) == np.sign(self.whole.difference)
            )
        return counts & (whole | (part & agrees))


def compare(
    before: Sequence[Pass],
    after: Sequence[Pass],
    axes: Axes,
    question: Question | None = None,
    labels: Mapping[str, str] = MappingProxyType({}),
) -> Comparison:
    """Compare two sets of passes that lie in pulls; passes without a pull are ignored. labels: of banks, to show."""
    question = Question() if question is None else question
    before, after = ([p for p in passes if p.unit is not None] for passes in (before, after))
    pulls = len({p.unit for p in before}), len({p.unit for p in after})
    pairs = _pairs(before, after)
    banks = [_tested(*pair, question.method_u) for pair in pairs]
    enough = any(bank.enough.any() for bank in banks)
    chances = np.concatenate([np.zeros(0), *(bank.chances for bank in banks)])
    rejected, first, every = stats.holm(chances, LEVEL), 0, []
    for bank in banks:
        called = bank.called(rejected[first : first + len(bank.chances)])
        first += len(bank.chances)
        every += _bins(bank, called, axes, question.better_is)
    found = {one.verdict for one in every if one.changed} - {ON_TARGET}
    verdict = NOT_ENOUGH if not enough else NONE
    if found:
        verdict = found.pop() if len(found) == 1 else f"{BETTER} and {WORSE}"
    least = None
    if verdict == NONE:
        tests = int(np.isfinite(chances).sum())
        least = _least_called([one.whole for one in banks], tests), _least_called([one.part for one in banks], tests)
    tested = tuple(labels.get(name, name) for name, _, _ in pairs if name is not None)
    grounds = Grounds(pulls, question.better_is, enough, _alone(before, after, labels), tested, least)
    leaner = max(banks, key=_level, default=None)
    nan = float("nan")
    overall = (nan, nan, nan) if leaner is None else _overall(leaner.before, leaner.after, leaner.enough)
    shown = _worse(every)
    return Comparison(shown, verdict, overall, grounds, _unlike(shown, every))


def _least_called(answers: Sequence[Tested], tests: int) -> float:
    """The smallest difference in a typical bin that so many tests would call changed (Holm); NaN without any."""
    errors = np.concatenate([one.error for one in answers])
    dofs = np.concatenate([one.free for one in answers])
    there = np.isfinite(errors)
    if not there.any():
        return float("nan")
    least = float(np.median(errors[there] * stats.t_values(1.0 - LEVEL / 2.0 / tests, dofs[there])))
    return max(least, LEAST_STEP)


def _tested(name: str | None, before: Sequence[Pass], after: Sequence[Pass], method_u: float) -> _Bank:
    keys = sorted({(p.load, p.speed) for p in [*before, *after]})
    a, b = side(before, keys), side(after, keys)
    n0, n1 = np.sum(np.isfinite(a), axis=1), np.sum(np.isfinite(b), axis=1)
    enough = (n0 >= LEAST_PULLS) & (n1 >= LEAST_PULLS) if keys else np.zeros(0, bool)
    ra, rb = relative(a, b, enough)
    there = enough & np.isfinite(ra).any(1) & np.isfinite(rb).any(1)
    return _Bank(name, keys, a, b, enough, moved(a, b, enough, True, method_u), moved(ra, rb, there, False, method_u))


def _bins(bank: _Bank, called: np.ndarray, axes: Axes, better_is: int) -> list[Bin]:
    (m0, n0), (m1, n1) = means(bank.before), means(bank.after)
    whole, part = bank.whole, bank.part
    out = []
    for at, (load, speed) in enumerate(bank.keys):
        changed = bool(called[at])
        word = NOT_ENOUGH
        if bank.enough[at]:
            word = _word(float(m0[at]), float(m1[at]), better_is) if changed else NONE
        out.append(
            Bin(
                rpm=float(axes.speeds[speed]),
                load=None if axes.loads is None else float(axes.loads[load]),
                before=float(m0[at]),
                after=float(m1[at]),
                pulls=(int(n0[at]), int(n1[at])),
                difference=float(whole.difference[at]),
                low=float(whole.difference[at] - whole.half[at]),
                high=float(whole.difference[at] + whole.half[at]),
                relative=float(part.difference[at]),
                relative_low=float(part.difference[at] - part.half[at]),
                relative_high=float(part.difference[at] + part.half[at]),
                chance=float(np.nanmin([whole.chance[at], part.chance[at], 1.0])),
                changed=changed,
                verdict=word,
                bank=bank.name,
            )
        )
    return out


def _word(before: float, after: float, better_is: int) -> str:
    """The verdict on a changed bin."""
    if better_is:
        return BETTER if (after - before) * better_is > 0 else WORSE
    if after > before and after > 1.0 + LEAN_SHARE:
        return WORSE
    if abs(after - 1.0) < abs(before - 1.0):
        return BETTER
    return WORSE if after < 1.0 - RICH_SHARE else ON_TARGET


def _worse(bins: list[Bin]) -> list[Bin]:
    """One bank's bin for each place: a worse one first, then a better one, then the leaner of the others.

    Leaner means over both sides together, which does not favour a difference of either sign.
    """
    rank = {WORSE: 4, BETTER: 3, ON_TARGET: 2, NONE: 1, NOT_ENOUGH: 0}

    def order(one: Bin) -> tuple[int, float]:
        level = one.before + one.after
        return rank[one.verdict], level if np.isfinite(level) else -np.inf

    places: dict[tuple[float | None, float], list[Bin]] = {}
    for one in bins:
        places.setdefault((one.load, one.rpm), []).append(one)
    found = [max(some, key=order) for some in places.values()]
    return sorted(found, key=_place)


def _place(one: Bin) -> tuple[float, float]:
    return (0.0 if one.load is None else one.load, one.rpm)


def _unlike(shown: list[Bin], every: list[Bin]) -> tuple[Bin, ...]:
    """The bins of other banks that came to something else than the one that is shown, or lie elsewhere."""
    of_place = {_place(one): one for one in shown}

    def differs(one: Bin) -> bool:
        worse = of_place[_place(one)]
        apart = [abs(one.before - worse.before), abs(one.after - worse.after)]
        return one.verdict != worse.verdict or bool(np.nanmax([*apart, 0.0]) > BANKS_APART)

    return tuple(one for one in every if one is not of_place[_place(one)] and differs(one))


Pair = tuple[str | None, Sequence[Pass], Sequence[Pass]]


def _pairs(before: Sequence[Pass], after: Sequence[Pass]) -> list[Pair]:
    """(name, passes before, passes after) of each bank that both sides have.

    A single bank on each side counts as the same bank, whatever its name.
    """
    a, b = by_bank(before), by_bank(after)
    if len(a) < 2 and len(b) < 2:
        return [(None, before, after)]
    return [(name, a[name], b[name]) for name in a if name in b]


def _alone(before: Sequence[Pass], after: Sequence[Pass], labels: Mapping[str, str]) -> tuple[str, ...]:
    """The banks that only one side has, where either has several."""
    a, b = by_bank(before), by_bank(after)
    return tuple(labels.get(name, name) for name in sorted(set(a) ^ set(b))) if len(a) > 1 or len(b) > 1 else ()


def _level(bank: _Bank) -> float:
    """Mean of a bank over both sides, in the bins that both have; minus infinity if there are none."""
    values = [means(one[bank.enough])[0] for one in (bank.before, bank.after)]
    return float(np.mean(values)) if bank.enough.any() else -np.inf


def _overall(before: np.ndarray, after: np.ndarray, enough: np.ndarray) -> tuple[float, float, float]:
    """(difference of the means of whole pulls, low, high) by Welch; NaN if it can't be computed."""
    nan = float("nan")
    if not enough.any():
        return nan, nan, nan
    chosen = [v[enough] for v in (before, after)]
    levels = [np.nanmean(v[:, np.isfinite(v).any(axis=0)], axis=0) for v in chosen]  # of pulls with any such bin
    if min(len(v) for v in levels) < LEAST_PULLS:
        return nan, nan, nan
    difference, error, dof, _ = stats.welch(*levels)
    half = stats.t_quantile(0.5 + INTERVAL / 2.0, round(dof, 2)) * error
    return difference, difference - half, difference + half
