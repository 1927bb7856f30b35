"""Bill of materials of a build on a board, with price assumptions, as CSV."""

from __future__ import annotations

import csv
import io
from collections import Counter, defaultdict

from hardware.circuit.boards import Board
from hardware.circuit.builds import Build
from hardware.circuit.car import LENGTH_M
from hardware.circuit.stock import PRICE_DATE, PRICE_SOURCE, SHIPPING_USD, SPREAD, STOCK

_GATES_PER_CHIP = {"schmitt_hc14": 6, "opamp_rr": 2}  # these are counted as chips, whatever number of blocks share one
_MISSING = {"rp2": ("a3",)}  # a board without that input leaves its block out
_EXTRA = {"schmitt_hc14": "c", "opamp_rr": "c"}  # 100 nF at every chip's supply
# A terminal's wire in words -> what one buys, metres of it for that terminal
_WIRES = {
    "0.5 mm2": ("wire", LENGTH_M),
    "0.5 mm2, 600 V insulation": ("wire_600v", LENGTH_M),
    "screened pair 2 x 0.25 mm2": ("wire_screened", LENGTH_M / 2),
    "twisted pair, below 1 m": ("wire", 1.0),
    "0.25 mm2": ("wire", 1.0),
}
_SLEEVED_BY_ONE = 2  # parts at far ends that one piece of sleeve covers


def harness(build: Build) -> dict[str, float]:
    """Stock -> metres of wire and pieces of sleeve from the terminals to the car."""
    out: Counter[str] = Counter()
    sleeved = 0
    for terminal, end in build.terminals.items():
        if end.device:
            stock, metres = _WIRES[end.wire]
            out[stock] += metres
        sleeved += sum(STOCK[part.stock].kind in ("resistor", "fuse") and part.stock != "fuse_1a"
                       for _, part in build.far_parts(terminal))  # fmt: skip
    out["sleeve"] = -(-sleeved // _SLEEVED_BY_ONE)
    return dict(out)


def loose(build: Build) -> dict[str, float]:
    """Stock -> number of what stands on no block."""
    return dict(Counter(build.loose) + Counter(harness(build)))


def fitted(build: Build, board: Board):
    """The blocks of the build that this board has pins for."""
    return [use for use in build.uses if use.joins.get("PIN") not in _MISSING.get(board.name, ())]


def rows(build: Build, board: Board) -> list[dict[str, object]]:
    """One dict per line of the list: quantity, part, value, rating, where, unit price, sum."""
    where = defaultdict(list)
    for use in fitted(build, board):
        for part in use.data.parts:
            where[(part.stock, part.value)].append(f"{use.prefix}-{part.ref}")
    lines = [_line(board.stock, "", 1, ["the board"])]
    for (stock, value), refs in sorted(where.items(), key=lambda item: (item[0][0], item[0][1])):
        count = len(refs)
        if stock in _GATES_PER_CHIP:
            count = -(-count // _GATES_PER_CHIP[stock])
            lines.append(_line(_EXTRA[stock], "100n", count, [f"at the supply pins of each {STOCK[stock].text}"]))
        lines.append(_line(stock, value, count, refs))
    return lines + [_line(stock, "", count, ["loose"]) for stock, count in loose(build).items()]


def _line(stock: str, value: str, count: float, refs: list[str]) -> dict[str, object]:
    item = STOCK[stock]
    return {
        "quantity": f"{count:g}",
        "part": item.text,
        "value": value,
        "rating": item.rating,
        "where": " ".join(refs),
        "price_usd": f"{item.price:.2f}",
        "sum_usd": f"{item.price * count:.2f}",
        "price_date": PRICE_DATE,
        "price_source": PRICE_SOURCE,
    }


def total_usd(build: Build, board: Board) -> float:
    """What all of it costs, single quantities, shipping left out."""
    return round(sum(float(str(line["sum_usd"])) for line in rows(build, board)), 2)


def range_usd(build: Build, board: Board) -> tuple[int, int]:
    """From least to most that somebody may pay for it, shipping included, in whole dollars."""
    low, high = (total_usd(build, board) * spread + ship for spread, ship in zip(SPREAD, SHIPPING_USD))
    return int(low), int(high + 0.999)


def as_csv(build: Build, board: Board) -> str:
    """The list as CSV, its sum in the last line."""
    lines = rows(build, board)
    out = io.StringIO()
    writer = csv.DictWriter(out, list(lines[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines)
    writer.writerow({"part": "sum", "sum_usd": f"{total_usd(build, board):.2f}"})
    return out.getvalue()
