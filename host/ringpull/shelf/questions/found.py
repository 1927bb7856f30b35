"""What a question came to: rows, how they are shown, and what is to be known about them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, NamedTuple

LEVEL = (
    0.02  # chance that anything at all is called in a shelf in which nothing happened, by Holm over all that is asked
)
LEAST_STEP = 0.01  # of measured over target: less is not worth naming, as in a comparison of two drives
LEAST_DRIVES = 5  # through which a line is drawn
Row = dict[str, Any]


class Shown(NamedTuple):
    """A column of the answer. digits: None for text and whole numbers. sign: with its sign. scale: factor from the
    row's value to what is shown."""

    name: str
    title: str
    digits: int | None = None
    sign: bool = False
    scale: float = 1.0


@dataclass(frozen=True)
class Found:
    """rows: keys as `columns` name them, `called` among them: what is not chance. words: how it was found. left_out:
    drives that were not asked, and why."""

    question: str
    columns: tuple[Shown, ...]
    rows: list[Row]
    words: list[str]
    left_out: dict[str, int] = field(default_factory=dict)

    @property
    def called(self) -> list[Row]:
        return [row for row in self.rows if row.get("called")]

    def as_json(self) -> dict:
        """Plain numbers, rounded to one digit more than is shown."""
        names = {one.name: one for one in self.columns}
        rows = [{key: rounded(names[key], value) for key, value in row.items() if key in names} for row in self.rows]
        return {"question": self.question, "rows": rows, "words": self.words, "left_out": self.left_out}


def rounded(shown: Shown, value: Any) -> Any:
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        return None
    places = 0 if shown.digits is None else shown.digits + round(math.log10(shown.scale))
    return round(value, places)


def text(shown: Shown, value: Any) -> str:
    """A value as it is shown."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "-"
    if isinstance(value, bool):
        return "yes" if value else ""
    if shown.digits is None or not isinstance(value, (int, float)):
        return str(value)
    if shown.name == "chance" and value < 0.5 * 10.0**-shown.digits:
        return f"<{10.0**-shown.digits:.{shown.digits}f}"
    return f"{round(value * shown.scale, shown.digits) + 0.0:{'+' if shown.sign else ''}.{shown.digits}f}"


def place(row: Row) -> tuple:
    """Order of rows: car, bank, load, speed."""
    load = row.get("load")
    return row["car_name"], row.get("bank") or "", -1 if load is None else load, row.get("rpm") or 0


def at(row: Row) -> str:
    """A cell in words."""
    load = "" if row.get("load") is None else f", {row['load']} {row.get('load_unit') or ''}".rstrip()
    return f"{row['rpm']} rpm{load}"
