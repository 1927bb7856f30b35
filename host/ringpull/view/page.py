"""The page of the local server: the report's traces, loaded one window at a time."""

from __future__ import annotations

from pathlib import Path

from ringpull.report import data, palette
from ringpull.report import page as report
from ringpull.report.words import text
from ringpull.view.shelf import Shelved

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
)
LAID = '<ul id="laid" class="legend" aria-label="overlaid pulls"></ul>'
POLICY = report.POLICY + "; connect-src 'self'"


def page(shelf: list[Shelved]) -> str:
    """The document."""
    known = {"fuel": report.fuel(shelf[0].drive), "colours": palette.for_canvas()}
    scripts = report.drawing_library() + report.inlined(SCRIPTS) + report.inlined(("remote.js", "view.js"), HERE)
    drive = '<label>drive <select id="drive"></select></label>'
    more = (
        '<label>overlay, aligned at the start <select id="over"></select></label>'
        '<button type="button" id="export">export what is shown (CSV)</button><span id="limited" role="status"></span>'
    )
    beside = (
        '<h2 id="events-title" hidden>Lean events</h2><ul id="events" class="spaced"></ul>'
        '<section aria-labelledby="remarks-title"><h2 id="remarks-title">Remarks</h2><form id="keep" class="tools">'
        '<label>at the cursor <input id="remark" maxlength="500" autocomplete="off"></label>'
        '<button>keep beside the ring file</button></form><ul id="remarks" class="spaced"></ul></section>'
        '<section aria-labelledby="file-title"><h2 id="file-title">Another drive</h2><p><label>Drop a ring file '
        "anywhere "
        'on this page, or choose one: <input type="file" id="file"></label></p><p id="told" '
        'role="status"></p></section>'
    )
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta '
        f'charset="utf-8">\n<title>{text(shelf[0].name)}</title>\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n<link rel="icon" href="data:,">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>\n{palette.css()}{report.inlined(report.STYLES)}</style>\n</head>\n<body>\n<header>"
        '<h1 class="vehicle">Drives on this machine</h1><p><span id="reading" role="status"></span> <a id="whole" '
        f"hidden>the whole report</a></p>{report.chooser()}</header>\n"
        f"<main>{report.traces(drive, more, LAID)}{beside}</main>\n"
        f'<script type="application/json" id="known">{data.as_script(known)}</script>\n'
        f"<script>\n{scripts}</script>\n</body>\n</html>\n"
    )
