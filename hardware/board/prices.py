"""What the board and all that belongs to it cost: an assumption, with its date, not an offer."""

from __future__ import annotations

import csv
import io
from collections import defaultdict

from hardware.board import contents, items
from hardware.circuit import bom
from hardware.circuit.builds import FULL
from hardware.circuit.stock import PRICE_DATE, PRICE_SOURCE, SHIPPING_USD, SPREAD, STOCK

BOARDS_ORDERED = 5  # the least that makers of boards take
BOARDS_USD = 24.0  # for these five, 140 x 100 mm, two layers (price from memory)
BOARDS_SHIPPING_USD = 16.0  # slow parcel (price from memory)
FIRST_ORDER_USD = BOARDS_USD + BOARDS_SHIPPING_USD
BARE_USD = round(FIRST_ORDER_USD / BOARDS_ORDERED, 2)
_PLUGS = sum(item.fitted and item.stock.startswith("plug") for item in items.all_items())
_LOOSE = {  # what no block needs but the kit does
    "card": 1, "dip8": 2, "dip14": 1, "dip16": 1, "socket_strip": 3, "case_big": 1, "spacer": 4, "gland": _PLUGS,
    "fuse_tap": 1, "cap_to220": 1, "lug": FULL.loose["lug"], **bom.harness(contents.FITTED),
}  # fmt: skip


def rows() -> list[dict[str, object]]:
    """One dict per line: quantity, part, value, rating, where, unit price, sum."""
    where: dict[tuple[str, str], list[str]] = defaultdict(list)
    for item in items.all_items():
        if item.fitted and item.stock != "point":
            where[item.stock, item.value].append(item.ref)
    for use in contents.BOARD.uses:
        for part in use.data.parts:
            if part.place and use.prefix not in contents.NOT_FITTED:
                where[part.stock, part.value].append(f"{use.prefix}-{part.ref} ({part.place})")
    lines = [_line(stock, value, len(refs), refs) for (stock, value), refs in sorted(where.items())]
    lines += [_line(stock, "", count, ["loose"]) for stock, count in _LOOSE.items()]
    bare = _line("wire", "", 1, [f"one of {BOARDS_ORDERED}, its share of their shipping included"])
    bare |= {"part": "bare board 140 x 100 mm, two layers", "rating": "", "price_usd": f"{BARE_USD:.2f}"}
    return [bare | {"sum_usd": f"{BARE_USD:.2f}"}, *lines]


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


def total_usd() -> float:
    """One board with everything on it and around it, single quantities; the parts' shipping left out."""
    return round(sum(float(str(line["sum_usd"])) for line in rows()), 2)


def first_usd() -> float:
    """The first logger: all the boards that must be ordered at once, and everything for one of them."""
    return round(total_usd() - BARE_USD + FIRST_ORDER_USD, 2)


def range_usd() -> tuple[int, int]:
    """From least to most that somebody may pay for it, shipping included, in whole dollars."""
    low, high = (total_usd() * spread + ship for spread, ship in zip(SPREAD, SHIPPING_USD))
    return int(low), int(high + 0.999)


def as_csv() -> str:
    """The list as CSV, its sum in the last line."""
    lines = rows()
    out = io.StringIO()
    writer = csv.DictWriter(out, list(lines[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines)
    writer.writerow({"part": "sum", "sum_usd": f"{total_usd():.2f}"})
    return out.getvalue()
