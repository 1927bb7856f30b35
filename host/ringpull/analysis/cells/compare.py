"""Before and after: two sets of pulls by speed and load, with intervals, the pull as sampling unit.

Two questions are asked of every bin and all answers held together family-wise (Holm): did it move, and did it move
against the rest of its own pulls? Pulls differ as wholes by more than they scatter within, so that the second sees
small changes of part of the curve which the first can't. Each of several banks is asked by itself, and their answers
are held together as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringpull.analysis.cells import pooling, stats
from ringpull.analysis.cells.passes import Pass, by_bank

LEVEL = 0.05
LEAST_PULLS = 2
LEAST_BINS = 4  # under it there is no rest of the curve to compare with
LEAN_SHARE = 0.01  # of target: to end leaner than this is worse, even where it is nearer than before
BETTER, WORSE, NONE, NOT_ENOUGH = "better", "worse", "no difference shown", "not enough data"


@dataclass(frozen=True)
class Bin:
    """One bin. difference: after minus before; low, high: its 95 % interval (single bin).

    relative: the same against the rest of the curve, NaN without. chance: two-sided, the smaller of both questions.
    changed: by Holm over all bins, both questions and all banks. verdict: "better", "worse", "no difference shown" or
    "not enough data". bank: of several the one that this bin is of.
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
class Comparison:
    """bins, of several banks the worse one of each place, and the verdict over every bank's: "better", "worse", "no
    difference shown", "not enough data", or "better and worse". overall: (difference of the pulls' means, low, high), of
    several banks of the leaner. words: what was compared and how."""

    bins: list[Bin]
    verdict: str
    overall: tuple[float, float, float]
    words: list[str]

    @property
    def changed(self) -> bool:
        """Whether any bin changed."""
        return any(b.changed for b in self.bins)


def _side(found: list[Pass], keys: list[tuple[int, int]]) -> np.ndarray:
    """Values by bin and pull: (bins, pulls), NaN where a pull never was."""
    units: dict[object, int] = {}
    for one in found:
        if one.unit is not None:
            units.setdefault(one.unit, len(units))
    total = np.zeros((len(keys), len(units)))
    weight = np.zeros_like(total)
    where = {key: at for at, key in enumerate(keys)}
    for one in found:
        if one.unit is not None and (one.load, one.speed) in where:
            at = where[one.load, one.speed], units[one.unit]
            total[at] += one.value * one.seconds
            weight[at] += one.seconds
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight > 0, total / weight, np.nan)


def _row_means(value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    count = np.sum(np.isfinite(value), axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, np.nansum(value, axis=1) / np.maximum(count, 1), np.nan), count


def _pooled(sides: Sequence[np.ndarray], pull_like: bool) -> tuple[float, float, np.ndarray]:
    """(variance of one pull's value in one bin, degrees of freedom, bins that belong to it) pooled over bins and both
    sides as far as their scatter is alike. pull_like: the values hang together along a pull, so that pulls and not bins
    count as free."""
    squares, dofs, pulls = [], [], 0
    for value in sides:
        mean, count = _row_means(value)
        squares.append(np.nansum((value - mean[:, None]) ** 2, axis=1))
        dofs.append(np.maximum(count - 1, 0).astype(float))
        pulls += max(value.shape[1] - 1, 0)
    square, dof = np.concatenate(squares), np.concatenate(dofs)
    kept = pooling.homogeneous(square / np.maximum(dof, 1.0), dof)
    free = float(dof[kept].sum())
    alike = (kept | (dof == 0)).reshape(len(sides), -1).all(axis=0)
    if free < 1:
        return np.nan, 0.0, alike
    return float(square[kept].sum() / free), float(pulls) if pull_like else free, alike


def _test(
    before: np.ndarray, after: np.ndarray, enough: np.ndarray, pull_like: bool, method_u: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(difference, half-width of its 95 % interval, two-sided chance, standard error, degrees of freedom) bin by bin;
    NaN where not enough. Variance is pooled over bins and sides; a bin that scatters more than the others is tested by itself (Welch). method_u: standard
    uncertainty of the method in one bin of one side, which more pulls don't take away."""
    (m0, n0), (m1, n1) = _row_means(before), _row_means(after)
    variance, dof, alike = _pooled((before, after), pull_like)
    difference = np.where(enough, m1 - m0, np.nan)
    half, chance, errors, dofs = (np.full(len(m0), np.nan) for _ in range(4))
    for at in np.flatnonzero(np.isfinite(difference)):
        if alike[at] and dof > 0:
            error, free = float(np.sqrt(variance * (1.0 / n0[at] + 1.0 / n1[at]))), dof
        else:
            rows = [side[at][np.isfinite(side[at])] for side in (before, after)]
            if min(map(len, rows)) < 2:
                continue
            _, error, free, _ = stats.welch(*rows)
        error = float(np.hypot(error, np.sqrt(2.0) * method_u))
        errors[at], dofs[at] = error, free
        half[at] = error * stats.t_quantile(1.0 - LEVEL / 2.0, round(free, 2))
        chance[at] = stats.t_two_sided(float(difference[at]) / error, free) if error > 0 else 1.0
    return difference, half, chance, errors, dofs


def _least_called(of_banks: Sequence[tuple[np.ndarray, ...]], tests: int) -> float:
    """The difference in a usual bin that would be the first of as many tests to be called (Holm); NaN without any.
    of_banks: each bank's answers of `_test`."""
    errors, dofs = (np.concatenate([one[k] for one in of_banks]) for k in (3, 4))
    there = np.isfinite(errors)
    if not there.any():
        return float("nan")
    return float(np.median(errors[there] * stats.t_values(1.0 - LEVEL / 2.0 / tests, dofs[there])))


def _relative(before: np.ndarray, after: np.ndarray, enough: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Both sides' values less each pull's own level: the median, over bins that all pulls share, of how far the pull
    stands from the bins' means over both sides. A change of less than half of the curve leaves that level alone."""
    shared = enough & np.isfinite(before).all(axis=1) & np.isfinite(after).all(axis=1)
    if np.count_nonzero(shared) < LEAST_BINS:
        return np.full_like(before, np.nan), np.full_like(after, np.nan)
    usual = 0.5 * (before[shared].mean(axis=1) + after[shared].mean(axis=1))
    levels = [np.median(side[shared] - usual[:, None], axis=0) for side in (before, after)]
    return before - levels[0][None, :], after - levels[1][None, :]


@dataclass
class _Bank:
    """One bank's values before and after, (bins, pulls), and its tests: `whole` and `part` as `_test` gives them, of
    whether a bin moved and whether it moved against the rest of its pulls."""

    name: str | None
    keys: list[tuple[int, int]]
    before: np.ndarray
    after: np.ndarray
    enough: np.ndarray
    whole: tuple[np.ndarray, ...]
    part: tuple[np.ndarray, ...]
    changed: np.ndarray
    changed_part: np.ndarray

    @property
    def tests(self) -> np.ndarray:
        """Two-sided chances of all its tests."""
        return np.concatenate([self.whole[2], self.part[2]])

    def take(self, rejected: np.ndarray) -> None:
        """Keep which of `tests` are called."""
        self.changed, self.changed_part = rejected[: len(self.keys)], rejected[len(self.keys) :]


def _tested(name: str | None, before: list[Pass], after: list[Pass], method_u: float) -> _Bank:
    keys = sorted({(p.load, p.speed) for p in [*before, *after] if p.unit is not None})
    a, b = _side(before, keys), _side(after, keys)
    n0, n1 = np.sum(np.isfinite(a), axis=1), np.sum(np.isfinite(b), axis=1)
    enough = (n0 >= LEAST_PULLS) & (n1 >= LEAST_PULLS) if keys else np.zeros(0, bool)
    ra, rb = _relative(a, b, enough)
    there = enough & np.isfinite(ra).any(1) & np.isfinite(rb).any(1)
    none = np.zeros(len(keys), bool)
    return _Bank(
        name, keys, a, b, enough, _test(a, b, enough, True, method_u), _test(ra, rb, there, False, method_u), none, none
    )


def _bins(bank: _Bank, speeds: np.ndarray, loads: np.ndarray | None, better_is: int) -> list[Bin]:
    (m0, n0), (m1, n1) = _row_means(bank.before), _row_means(bank.after)
    difference, half, chance = bank.whole[:3]
    relative, relative_half, relative_chance = bank.part[:3]
    out = []
    for at, (load, speed) in enumerate(bank.keys):
        changed = bool(bank.changed[at] or bank.changed_part[at])
        step = difference[at] if bank.changed[at] else relative[at]
        out.append(
            Bin(
                rpm=float(speeds[speed]),
                load=None if loads is None else float(loads[load]),
                before=float(m0[at]),
                after=float(m1[at]),
                pulls=(int(n0[at]), int(n1[at])),
                difference=float(difference[at]),
                low=float(difference[at] - half[at]),
                high=float(difference[at] + half[at]),
                relative=float(relative[at]),
                relative_low=float(relative[at] - relative_half[at]),
                relative_high=float(relative[at] + relative_half[at]),
                chance=float(np.nanmin([chance[at], relative_chance[at], 1.0])),
                changed=changed,
                verdict=_word(changed, bool(bank.enough[at]), float(step), float(m0[at]), float(m1[at]), better_is),
                bank=bank.name,
            )
        )
    return out


def _worse(bins: list[Bin]) -> list[Bin]:
    """Of each place one bank's bin: one that got worse before one that got better, that before the others; of those the
    leaner one over both sides together, which does not favour a difference of either sign."""
    rank = {WORSE: 3, BETTER: 2, NONE: 1, NOT_ENOUGH: 0}

    def order(one: Bin) -> tuple[int, float]:
        level = one.before + one.after
        return rank[one.verdict], level if np.isfinite(level) else -np.inf

    places: dict[tuple[float | None, float], list[Bin]] = {}
    for one in bins:
        places.setdefault((one.load, one.rpm), []).append(one)
    found = [max(some, key=order) for some in places.values()]
    return sorted(found, key=lambda one: (0.0 if one.load is None else one.load, one.rpm))


def _pairs(before: list[Pass], after: list[Pass]) -> tuple[list[tuple[str | None, list[Pass], list[Pass]]], list[str]]:
    """(name, passes before, passes after) of each bank that both sides have, and what is said of banks. One bank on either
    side is the same bank, whatever it is called."""
    a, b = by_bank(before), by_bank(after)
    if len(a) < 2 and len(b) < 2:
        return [(None, before, after)], []
    names = [name for name in a if name in b]
    words = [f"{name} is in one of the drives only, and is not compared" for name in sorted(set(a) ^ set(b))]
    if len(names) > 1:
        words.append(
            f"each bank is tested by itself ({', '.join(names)}) and all answers are held together; of each place the "
            "worse bank is shown"
        )
    return [(name, a[name], b[name]) for name in names], words


def compare(
    before: list[Pass],
    after: list[Pass],
    speeds: np.ndarray,
    loads: np.ndarray | None = None,
    sense: str = "nearer to target",
    better_is: int = 0,
    method_u: float = 0.0,
) -> Comparison:
    """Compare two sets of passes that lie in pulls; passes without a pull are ignored.

    better_is: 0 for values that should be 1 (measured over target); 1 where more is better and -1 where less is, of values
    in logarithms (power), whose differences are shares.
    sense: said in the words. method_u: standard uncertainty of the method in a bin, whatever the number of pulls.
    """
    count, count_after = (len({p.unit for p in side if p.unit is not None}) for side in (before, after))
    pulls = f"{count} pull{'' if count == 1 else 's'}"
    words = [f"{pulls} before, {count_after} after; better means {sense}"]
    if not better_is:
        words.append(f"to end leaner than target by more than {100 * LEAN_SHARE:.0f} % is worse")
    pairs, said = _pairs(before, after)
    words += said
    banks = [_tested(*pair, method_u) for pair in pairs]
    enough = any(bank.enough.any() for bank in banks)
    if min(count, count_after) < LEAST_PULLS:
        words.append(
            f"{LEAST_PULLS} pulls a side are the least that can be tested: one pull can't tell change from chance"
        )
    elif not enough:
        words.append("no bin was visited by two pulls on either side")
    chances = np.concatenate([np.zeros(0), *(bank.tests for bank in banks)])
    rejected, first = stats.holm(chances, LEVEL), 0
    for bank in banks:
        bank.take(rejected[first : first + len(bank.tests)])
        first += len(bank.tests)
    every = [one for bank in banks for one in _bins(bank, speeds, loads, better_is)]
    found = {one.verdict for one in every if one.changed}
    if not enough:
        verdict = NOT_ENOUGH
    elif not found:
        verdict = NONE
    else:
        verdict = found.pop() if len(found) == 1 else f"{BETTER} and {WORSE}"
    if verdict == NONE:
        tests = int(np.isfinite(chances).sum())
        form = ".1%" if better_is else ".3f"
        whole = _least_called([bank.whole for bank in banks], tests)
        part = _least_called([bank.part for bank in banks], tests)
        rest = "" if np.isnan(part) else f", nor one of part of it smaller than about {part:{form}}"
        words.append(
            f"a difference of the whole curve smaller than about {whole:{form}} would not show with these pulls{rest}"
        )
    leaner = max(banks, key=_level, default=None)
    nan = float("nan")
    overall = (nan, nan, nan) if leaner is None else _overall(leaner.before, leaner.after, leaner.enough)
    return Comparison(_worse(every), verdict, overall, words)


def _level(bank: _Bank) -> float:
    """Mean of a bank over both sides, where both were; the lowest of numbers where nowhere."""
    values = [_row_means(side[bank.enough])[0] for side in (bank.before, bank.after)]
    return float(np.mean(values)) if bank.enough.any() else -np.inf


def _word(changed: bool, enough: bool, step: float, before: float, after: float, better_is: int) -> str:
    if not enough:
        return NOT_ENOUGH
    if not changed:
        return NONE
    if better_is:
        return BETTER if step * better_is > 0 else WORSE
    if step > 0 and after > 1.0 + LEAN_SHARE:
        return WORSE
    return BETTER if abs(after - 1.0) < abs(before - 1.0) else WORSE


def _overall(before: np.ndarray, after: np.ndarray, enough: np.ndarray) -> tuple[float, float, float]:
    """(difference of the means of whole pulls, low, high) by Welch; NaN where it can't be told."""
    nan = float("nan")
    if not enough.any():
        return nan, nan, nan
    levels = [np.nanmean(v[enough], axis=0) for v in (before, after)]
    levels = [v[np.isfinite(v)] for v in levels]
    if min(len(v) for v in levels) < LEAST_PULLS:
        return nan, nan, nan
    difference, error, dof, _ = stats.welch(*levels)
    half = stats.t_quantile(1.0 - LEVEL / 2.0, round(dof, 2)) * error
    return difference, difference - half, difference + half
