"""The parts of the report put together: one HTML document that loads nothing else."""

from __future__ import annotations

from pathlib import Path

from ringpull.analysis.cells import fuelmap, speed_curve
from ringpull.files.configuration import Configuration
from ringpull.report import answer_part, car_part, cards, compare_part, curve, data, evidence, map_part, palette
from ringpull.report.against import Against
from ringpull.report.words import listed, text

HERE = Path(__file__).parent
SCRIPTS = (
    "units.js",
    "samples.js",
    "drawing.js",
    "looks.js",
    "beside.js",
    "traces.js",
    "keys_of_report_and_view.js",
    "controls.js",
    "page.js",
)
STYLES = ("vendor/uplot.min.css", "style.css")
POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"

UNITS = (
    ("mixture", "mixture", (("lambda", "lambda"), ("afr", "air-fuel ratio"), ("phi", "equivalence ratio"))),
    ("pressure", "pressure", (("kPa", "kPa"), ("bar", "bar"), ("psi", "psi"))),
    ("temperature", "temperature", (("degC", "°C"), ("degF", "°F"))),
)


def load_unit(answer) -> str:
    """The unit of the load axis of the first pull's session."""
    return answer.pulls[0].judged.columns.load_unit if answer.pulls else ""


def chooser() -> str:
    """The units chooser as HTML."""
    fields = "".join(
        f'<label>{text(title)} <select id="unit-{key}">'
        + "".join(f'<option value="{value}">{text(shown)}</option>' for value, shown in options)
        + "</select></label>"
        for key, title, options in UNITS
    )
    return f'<div class="units" role="group" aria-label="units">{fields}</div>'


def fuel(drive) -> dict:
    """The name and stoichiometric air-fuel ratio of the configured fuel, for the units chooser."""
    config = drive.sessions[0].config if drive.sessions else Configuration()
    burnt = config.assumed_fuel
    return {"name": burnt.name, "stoich_afr": round(float(burnt.stoich_afr), 4)}


def session_chooser(drive) -> str:
    """A session chooser as HTML; empty if there is only one session."""
    if len(drive.sessions) < 2:
        return ""
    options = "".join(f'<option value="{s.id}">session {s.id}</option>' for s in drive.sessions)
    return f'<label>session <select id="session">{options}</select></label>'


def traces(chooser: str, more: str = "", below: str = "", after: str = "") -> str:
    """The section in which the page's script draws the samples.

    chooser, more: controls before and after the usual ones. below: HTML under the controls. after: HTML under the
    traces.
    """
    return (
        '<section id="traces" aria-labelledby="traces-title"><h2 id="traces-title">Traces</h2>'
        f'<div class="tools" role="group" aria-label="traces">{chooser}'
        '<label>show <select id="window"><option value="">everything</option></select></label>'
        '<label>against <select id="axis"><option value="time">time</option><option value="speed">engine speed</option>'
        "</select></label>"
        '<label>lambda <select id="height"><option value="near">around the target</option><option value="all">all of it'
        "</option></select></label>"
        '<button type="button" id="narrower">zoom in</button><button type="button" id="wider">zoom out</button>'
        '<button type="button" id="earlier">earlier</button><button type="button" id="later">later</button>'
        f"{more}</div>{below}"
        '<p class="quiet" id="keys">Drag to zoom, double-click to see everything. Keys, with the traces in focus: left '
        "and right move the cursor (with shift by 20 samples), + and - zoom, 0 shows everything, page up and page down "
        "scroll.</p>"
        '<div id="panels" tabindex="0" role="application" aria-label="traces" aria-describedby="keys"></div>'
        '<p id="cursor" role="status" aria-live="polite"></p>'
        "<noscript><p>The traces need JavaScript; the rest of this page does not.</p></noscript>"
        f"{after}</section>"
    )


def inlined(names: tuple[str, ...], folder: Path = HERE) -> str:
    """The contents of files in a folder, one after the other."""
    return "\n".join((folder / name).read_text(encoding="utf-8") for name in names)


def drawing_library() -> str:
    """The plotting library as a script, with its licence first, since every copy of the page contains the library."""
    return f"/*\n{inlined(('vendor/uplot-LICENSE.txt',))}*/\n{inlined(('vendor/uplot.min.js',))}"


def samples(drive, answer, packing: data.Packing) -> tuple[list[dict], str]:
    """(the description of each session, the script elements that hold the samples)."""
    judged = {p.pull.session: p.judged for p in answer.pulls}
    told, blobs = [], []
    for session, (known, packed) in zip(drive.sessions, packing.made(), strict=True):
        parts = [(known["columns"], packed)]
        if session.id in judged:
            parts.append(data.judged_data(session, judged[session.id]))
        listed = [{"id": f"samples-{len(blobs) + at}", "columns": len(part[0])} for at, part in enumerate(parts)]
        told.append({**known, "columns": [one for columns, _ in parts for one in columns], "blobs": listed})
        for one, (_, samples_text) in zip(listed, parts, strict=True):
            blobs.append(f'<script type="text/plain" id="{one["id"]}">{samples_text}</script>')
    return told, "\n".join(blobs)


def notes_of(drive) -> dict[str, str]:
    """The remarks about pulls that are kept beside the ring file, by pull number."""
    from ringpull.files.remarks import of_pulls

    return of_pulls(drive.source, drive.pulls(), drive.older_ring)


def remarks_elsewhere(drive) -> str:
    """The remarks on moments outside of all pulls, as HTML under the traces."""
    from ringpull.files.remarks import placed

    words = [text(said) for number, said in placed(drive.source, drive.pulls(), drive.older_ring) if number is None]
    return f"<h3>Remarks outside the pulls</h3>{listed(words)}" if words else ""


def page(drive, answer, against: Against | None = None, packing: data.Packing | None = None) -> str:
    """The whole document. packing: the packed samples, if packing was started earlier."""
    packing = packing or data.Packing(drive)
    events = answer_part.numbered(answer)
    unit = load_unit(answer)
    summary = "" if against is None else compare_part.summary(drive, answer, against)
    told, blobs = samples(drive, answer, packing)
    known = {
        "sessions": told,
        "spans": data.spans(answer, events),
        "fuel": fuel(drive),
        "colours": palette.for_canvas(),
    }
    picture = curve.part(speed_curve.of_answer(answer), answer, events, unit)
    own = car_part.part(drive, answer)
    sections = [
        answer_part.part(answer, events, unit, picture, summary),
        cards.part(drive, answer, events, unit, notes_of(drive)),
        map_part.part(fuelmap.of_drive(drive)),
        traces(session_chooser(drive), after=remarks_elsewhere(drive)),
        "" if against is None else compare_part.part(against.compared),
        own,
        evidence.instruments(answer),
        evidence.left_out(answer),
        evidence.health(drive),
        evidence.method(drive, answer, unit),
    ]
    links = (
        ("answer", "answer"),
        ("why", "why, cautions"),
        ("pulls", "pulls"),
        ("map", "fuel map"),
        ("traces", "traces"),
        *([("compare", "before and after")] if against is not None else []),
        *([("car", "the car's computer")] if own else []),
        ("instruments", "instruments"),
        ("left-out", "left out"),
        ("health", "logger"),
        ("method", "method"),
    )
    nav = "".join(f'<a href="#{key}">{name}</a>' for key, name in links)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{text(answer_part.title(drive))}: {text(answer.verdict)}"
        f'</title>\n<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>\n{palette.css()}{inlined(STYLES)}</style>\n</head>\n<body>\n"
        f'<a class="skip" href="#answer">to the answer</a>\n<header>{answer_part.head(drive)}</header>\n<main>\n'
        f'<div class="bar"><nav aria-label="sections">{nav}</nav>{chooser()}</div>\n'
        + "\n".join(sections)
        + "\n</main>\n"
        f'<script type="application/json" id="known">{data.as_script(known)}</script>\n{blobs}\n'
        f"<script>\n{drawing_library()}\n{inlined(SCRIPTS)}</script>\n</body>\n</html>\n"
    )
