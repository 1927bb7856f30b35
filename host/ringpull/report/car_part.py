"""The report's section on the car's own computer: its codes, how the bus was, what it wanted in each pull."""

from __future__ import annotations

from ringpull.analysis import car
from ringpull.report.evidence import section
from ringpull.report.words import listed, number, quantity, table, text
from ringpull.wording import car as words
from ringpull.wording import codes

ROW = (
    ("lambda it asked for", car.COMMANDED, lambda value: quantity(value, "lambda", 2)),
    ("spark, degrees before top", car.SPARK, lambda value: number(value, 1)),
    ("intake air", car.INTAKE, lambda value: quantity(value, "temperature", 0)),
    ("short trim, %", car.SHORT_TRIM, lambda value: number(value, 1, sign=True)),
    ("long trim, %", car.LONG_TRIM, lambda value: number(value, 1, sign=True)),
)


def part(drive, answer) -> str:
    """ "" where the drive has no channel from the bus."""
    inside = ""
    for session in drive.sessions:
        pulls = [one for one in answer.pulls if one.pull.session == session.id]
        said = car.of_session(session, pulls)
        if said is None:
            continue
        if len(drive.sessions) > 1:
            inside += f"<h3>Session {session.id}</h3>"
        inside += listed([text(line) for line in words.how_it_was(said)])
        inside += _codes(session.codes)
        inside += _pulls(said, pulls)
    return section("car", "What the car's computer says", inside) if inside else ""


def _codes(units) -> str:
    """The vehicle's number is never shown here."""
    if not units:
        return "<p>It was not asked for trouble codes, or gave no answer.</p>"
    rows = []
    for unit in units:
        said = codes.listed(unit) or ["no codes" if unit.confirmed is not None else "no answer about codes"]
        more = [one for one in (codes.readiness(unit), codes.frozen(unit)) if one]
        rows.append([text(unit.who), listed([text(one) for one in said]), listed([text(one) for one in more])])
    return table(["unit", "trouble codes", "lamp, readiness, freeze frame"], rows, "trouble codes, unit by unit")


def _pulls(said, pulls) -> str:
    there = [row for row in ROW if any(row[1] in values for values in said.pulls.values())]
    state = any(said.fuel.values())
    trims = said.trims
    if not there and not state:
        return ""
    rows = [
        [
            str(one.pull.number),
            quantity(one.as_json().get("lambda_mean"), "lambda", 2),
            *(shown(said.pulls[one.pull.number].get(key)) for _, key, shown in there),
            *([text(words.fuel_state(said.fuel[one.pull.number]))] if state else []),
        ]
        for one in pulls
    ]
    heads = ["pull", "lambda measured", *(title for title, _, _ in there), *(["fuel system"] if state else [])]
    told = table(heads, rows, "means of what was judged of each pull, measured and as the car's computer says")
    return told + f'<p class="quiet">{words.ABOUT_TRIMS if state else words.LOOP_UNKNOWN}</p>' * trims
