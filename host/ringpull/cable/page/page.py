"""The live page: large figures, the last two minutes, and a card for each pull."""

from __future__ import annotations

from pathlib import Path

from ringpull.report import data, palette
from ringpull.report import page as report

HERE = Path(__file__).parent
POLICY = report.POLICY + "; connect-src 'self'"


def page() -> str:
    """The document."""
    scripts = report.drawing_library() + report.inlined(("units.js",)) + report.inlined(("past.js", "live.js"), HERE)
    styles = palette.css() + report.inlined(report.STYLES) + report.inlined(("live.css",), HERE)
    known = data.as_script({"colours": palette.for_canvas()})
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>Live</title>\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n<link rel="icon" href="data:,">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>\n{styles}</style>\n</head>\n<body>\n"
        '<header><h1 class="vehicle" id="vehicle">Logger</h1><p class="facts" id="facts"></p>'
        f"{report.chooser()}</header>\n<main>"
        '<p id="banner" role="status" data-state="waiting">waiting for the logger</p>'
        '<section id="figures" aria-label="values now"></section>'
        '<section id="cards" aria-labelledby="cards-title"><h2 id="cards-title">Pulls</h2>'
        '<div id="pulls" aria-live="polite"><p class="quiet">A marked pull is fetched and judged here as soon as it '
        "has ended.</p></div></section>"
        '<section id="past" aria-labelledby="past-title"><h2 id="past-title">The last two minutes</h2>'
        '<div id="lines"></div></section></main>\n'
        f'<script type="application/json" id="known">{known}</script>\n<script>\n{scripts}</script>\n</body>\n</html>\n'
    )
