"""The mutants of a module: what cosmic-ray changes in it, less what can't be noticed, and a sample of the rest."""

from __future__ import annotations

import ast
import random
from dataclasses import dataclass

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

# Of the eleven operators that could stand for one, those that a slip of the pen would put there
ARITHMETIC = {
    "Add": ("Sub",),
    "Sub": ("Add",),
    "Mul": ("Div", "Add"),
    "Div": ("Mul", "FloorDiv"),
    "FloorDiv": ("Mul", "Div"),
    "Mod": ("FloorDiv", "Mul"),
    "Pow": ("Mul",),
    "LShift": ("RShift",),
    "RShift": ("LShift",),
    "BitOr": ("BitAnd", "BitXor"),
    "BitAnd": ("BitOr",),
    "BitXor": ("BitOr",),
}
# Identity for equality: the same for small numbers and for names that Python keeps once
UNNOTICED = ("_Eq_Is", "_NotEq_IsNot", "_Eq_IsNot", "_NotEq_Is", "_Is_Eq", "_IsNot_NotEq", "_Is_NotEq", "_IsNot_Eq")


@dataclass(frozen=True)
class Place:
    """What can be changed: the operator's `occurrence` in its module, which begins on `line`."""

    operator: str
    occurrence: int
    line: int


@dataclass(frozen=True)
class Mutant:
    """A changed module. line: the number of the first changed one. before, after: that line as it stands and
    changed."""

    place: Place
    text: str
    line: int
    before: str
    after: str


def _operators() -> list[str]:
    names = []
    for name in operator_names():
        short = name.split("/")[1]
        if short.startswith("ReplaceBinaryOperator_"):
            _, one, other = short.split("_")
            if other not in ARITHMETIC[one]:
                continue
        if short.startswith("ReplaceComparisonOperator") and short.endswith(UNNOTICED):
            continue
        if not get_operator(name).arguments():
            names.append(name)
    return names


def _annotations(source: str) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Where annotations begin and end, (line, column): nobody evaluates them."""
    out = []
    for node in ast.walk(ast.parse(source)):
        for held in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if held is not None:
                out.append(((held.lineno, held.col_offset), (held.end_lineno, held.end_col_offset)))
    return out


def places(source: str) -> list[Place]:
    """All places of a source text, in the order of its lines."""
    tree = get_ast(source)
    nodes = list(ast_nodes(tree))
    unread = _annotations(source)
    out = []
    for name in _operators():
        operator = get_operator(name)()
        starts = [start for node in nodes for start, _ in operator.mutation_positions(node)]
        for occurrence, start in enumerate(starts):
            if not any(low <= start < high for low, high in unread):
                out.append(Place(name, occurrence, start[0]))
    return sorted(out, key=lambda one: (one.line, one.operator, one.occurrence))


def sample(found: list[Place], most: int, seed: str) -> list[Place]:
    """Up to `most` of them: one of each line, in an order by chance from `seed`, before a second one of any."""
    chance = random.Random(seed)
    lines: dict[int, list[Place]] = {}
    for one in found:
        lines.setdefault(one.line, []).append(one)
    queues = [chance.sample(some, len(some)) for some in lines.values()]
    chance.shuffle(queues)
    taken: list[Place] = []
    while queues and len(taken) < most:
        taken += [queue.pop() for queue in queues]
        queues = [queue for queue in queues if queue]
    return sorted(taken[:most], key=lambda one: (one.line, one.operator, one.occurrence))


def made(source: str, place: Place) -> Mutant | None:
    """The mutant of a place; None where it reads as before."""
    text = mutate_code(source, get_operator(place.operator)(), place.occurrence)
    if text is None or text == source:
        return None
    pairs = zip(source.split("\n"), text.split("\n"), strict=False)
    line, (before, after) = next((n, pair) for n, pair in enumerate(pairs, 1) if pair[0] != pair[1])
    return Mutant(place, text, line, before.strip(), " ".join(after.split()))
