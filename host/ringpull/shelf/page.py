"""One car's season at a glance: an offline page in the report's look."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ringpull.errors import BadUsage
from ringpull.report import palette
from ringpull.report.page import HERE as REPORT
from ringpull.report.words import listed, table, text
from ringpull.shelf import calibrations, contents, season_pictures
from ringpull.shelf.questions import found as shown
from ringpull.shelf.questions.ask import ask
from ringpull.shelf.questions.found import Found, Row, at
from ringpull.shelf.questions.live import Chosen, Engine

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
WRAP = "li { overflow-wrap: anywhere; }\n"  # paths in a command are longer than a phone is wide
MOST_ROWS = 12  # of a table on the page
TITLES = {"lean": "Lean margin", "drift": "Drift", "changes": "What the changes did", "delay": "The sensor"}
ASKED = tuple(TITLES)


def season_page(root: Path, chosen: Chosen, engine: Engine) -> str:
    """The document. BadUsage where the shelf holds several cars and none is chosen."""
    cars = contents.contents(root)
    names = [one.name for one in cars if chosen.car in (None, one.name)]
    if len(names) != 1:
        raise BadUsage(
            f"a page shows one car's season, and {'several are' if names else 'none is'} on this shelf",
            "--car is missing, or its name is a slip",
            f"add --car and one of {', '.join(one.name for one in cars)}",
        )
    (car,) = [one for one in cars if one.name == names[0]]
    own = Chosen(car.name, chosen.fuel, chosen.since, chosen.until, chosen.mixed)
    answers = {question: ask(root, question, own, engine) for question in ASKED}
    return document(car, answers)


def document(car: contents.Car, answers: dict[str, Found]) -> str:
    """The page of a car from the answers to its questions."""
    kind, first = verdict(car, answers)
    if car.old_calibration:
        first = [*first, calibrations.mixed(car.name, car.old_calibration, car.calibration)]
    log = [f"{text(one.day or 'undated')}: {text(one.text)}" for one in car.changes]
    parts = [
        f'<section class="verdict {kind}" id="answer" aria-label="answer"><h1>{text(first[0])}</h1>'
        f"{listed([text(one) for one in first[1:]])}</section>",
        section("lean", season_pictures.months(answers["lean"].rows) + words(answers["lean"])),
        section("drift", season_pictures.rates(answers["drift"].rows) + rows_and_words(answers["drift"])),
        section("changes", listed(log) + rows_and_words(answers["changes"])),
        section("delay", rows_and_words(answers["delay"])),
        f'<section id="drives"><h2>Drives</h2>{drives(car)}</section>',
    ]
    title = f"{car.name}: {car.first} to {car.last}"
    facts = (
        ("drives", str(car.drives)),
        ("pulls", str(car.pulls)),
        ("engine hours", f"{car.hours:.1f}"),
        ("drives with attention", str(car.lean)),
        *((("invented", str(car.invented)),) if car.invented else ()),
    )
    listed_facts = "".join(f"<div><dt>{name}</dt><dd>{text(value)}</dd></div>" for name, value in facts)
    links = "".join(
        f'<a href="#{key}">{text(name.lower())}</a>' for key, name in (*TITLES.items(), ("drives", "drives"))
    )
    style = (REPORT / "style.css").read_text(encoding="utf-8")
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{text(title)}</title>\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>\n{palette.css()}{style}{WRAP}</style>\n</head>\n<body>\n"
        f'<a class="skip" href="#answer">to the answer</a>\n<header><p class="vehicle">{text(title)}</p>'
        f'<dl class="facts">{listed_facts}</dl></header>\n<main>\n'
        f'<div class="bar"><nav aria-label="sections">{links}</nav></div>\n'
        + "\n".join(parts)
        + "\n</main>\n</body>\n</html>\n"
    )


def section(key: str, inside: str) -> str:
    return (
        f'<section id="{key}" aria-labelledby="{key}-title"><h2 id="{key}-title">{TITLES[key]}</h2>{inside}</section>'
    )


def verdict(car: contents.Car, answers: dict[str, Found]) -> tuple[str, list[str]]:
    """(look, sentences): what a season comes to, the worst first."""
    rows = answers["lean"].rows
    events = sum(row["events"] for row in rows)
    out = []
    if events:
        where = sorted({row["rpm"] for row in rows if row["events"]})
        last = max(row["month"] for row in rows if row["events"])
        out.append(f"{events} lean event{'' if events == 1 else 's'}, at {spoken(where)} rpm, the last in {last}")
    for row in answers["drift"].called:
        way = "leaner" if row["rate"] > 0 else "richer"
        out.append(f"{at(row)} gets {way} by {abs(100 * row['rate']):.1f} % a year")
    for row in answers["delay"].called:
        out.append(
            f"the {row['what']} of {row['bank']} grew from {1000 * row['value_from']:.0f} to "
            f"{1000 * row['value_to']:.0f} ms"
        )
    lean = bool(events)
    if not out:
        judged = bool(rows)
        out = [f"No lean event found in {car.pulls} pulls, and no drift" if judged else "Not enough data"]
        return "fine" if judged else "", out
    return "lean" if lean else "", [one[:1].upper() + one[1:] for one in out]


def spoken(speeds: list[int]) -> str:
    """Speeds as a list or a range."""
    return f"{speeds[0]}" if len(speeds) == 1 else f"{speeds[0]} to {speeds[-1]}"


def rows_and_words(found: Found) -> str:
    """What was called as a table, or that nothing was; below it how it was found."""
    rows = found.called or ([] if found.question != "delay" else found.rows)
    columns = [one for one in found.columns if one.name not in ("car_name", "called", "drifts")]
    if not rows:
        return words(found)
    lines = [[cell(one, row) for one in columns] for row in rows[:MOST_ROWS]]
    more = f"; {len(rows) - MOST_ROWS} more" if len(rows) > MOST_ROWS else ""
    kind = "what is not chance" if found.called else "none of it beyond chance"
    return table([text(one.title) for one in columns], lines, f"{kind}{more}") + words(found)


def cell(column: shown.Shown, row: Row) -> str:
    value: Any = row.get(column.name)
    return text(shown.text(column, value))


def words(found: Found) -> str:
    return listed([text(one) for one in found.words], kind="small")


def drives(car: contents.Car) -> str:
    """A line for each drive."""
    heads = ["day", "date by", "fuel", "pulls", "lean events", "verdict", "changed before it"]
    lines = [
        [
            text(contents.day_of(row) or "not known"),
            text(row["date_from"]),
            text(row["fuel"] or ""),
            str(row["pulls"]),
            str(row["lean_events"]),
            text(row["verdict"]),
            text(row["change"] or ""),
        ]
        for row in car.rows
    ]
    return table(heads, lines, f"{len(lines)} drives")
