"""All colours of the report, the page and the printed pictures. Nothing else in the project names a colour.

The hues of lines follow the set for all kinds of colour vision by Okabe and Ito (2008), darkened on a light ground and
lightened on a dark one until their contrast is 3 to 1 (WCAG 2.1, 1.4.11); that of texts is 4.5 to 1 (1.4.3).
"""

from __future__ import annotations

LIGHT = {
    "ground": "#ffffff",
    "panel": "#f5f6f7",
    "rule": "#c9ced3",
    "edge": "#7c858d",
    "text": "#1b1f23",
    "quiet": "#535c65",
    "link": "#005a8f",
    "lean": "#b04a00",
    "lean-ground": "#fdf1e7",
    "fine": "#00664b",
    "fine-ground": "#e8f5f0",
    "open-ground": "#eef1f6",
    "focus": "#005a8f",
    "target": "#1b1f23",
    "measured": "#8a939b",
}
DARK = {
    "ground": "#14171a",
    "panel": "#1d2125",
    "rule": "#3c444b",
    "edge": "#7d8790",
    "text": "#e9ecee",
    "quiet": "#a9b2ba",
    "link": "#7cc4f0",
    "lean": "#ff9a4d",
    "lean-ground": "#33241a",
    "fine": "#4fcba3",
    "fine-ground": "#17302a",
    "open-ground": "#232a36",
    "focus": "#7cc4f0",
    "target": "#e9ecee",
    "measured": "#727b83",
}
LINES_LIGHT = ("#0072b2", "#b04a00", "#007a5a", "#a3507f", "#8a6500", "#2f7fae", "#45494d")
LINES_DARK = ("#56b4e9", "#ff9a4d", "#2fc596", "#dd8fba", "#f0d442", "#7f9cf5", "#c9ced3")
DASHES = ("", "8 3", "2 3", "10 3 2 3", "5 5", "12 4", "3 2")

# From rich to lean, for maps: steps of cividis (Nunez, Anderton, Renslow 2018), even in lightness for all colour vision
MAP = ("#00224e", "#2a3f6d", "#575d6d", "#7d7c78", "#a59c74", "#d2c060", "#fee838")


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb" (WCAG 2.1, definition of relative luminance)."""
    parts = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.1)."""
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def on_map(fraction: float) -> tuple[str, str]:
    """(ground, text) colour for a place on the map's scale, 0 to 1. The text is black or white by contrast."""
    place = min(max(fraction, 0.0), 1.0) * (len(MAP) - 1)
    low = min(int(place), len(MAP) - 2)
    share = place - low
    mixed = [
        round(int(MAP[low][at : at + 2], 16) * (1 - share) + int(MAP[low + 1][at : at + 2], 16) * share)
        for at in (1, 3, 5)
    ]
    ground = "#{:02x}{:02x}{:02x}".format(*mixed)
    return ground, max(("#000000", "#ffffff"), key=lambda text: contrast(text, ground))


def _variables(colours: dict[str, str], lines: tuple[str, ...]) -> str:
    return "".join(f"--{name}:{value};" for name, value in colours.items()) + "".join(
        f"--line-{at}:{value};" for at, value in enumerate(lines)
    )


def css() -> str:
    """The palette as CSS variables: light, or dark if the reader's system prefers it; paper is light."""
    light, dark = _variables(LIGHT, LINES_LIGHT), _variables(DARK, LINES_DARK)
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{color-scheme:dark;{dark}}}}}\n"
    )


def for_canvas() -> dict[str, dict]:
    """The light and the dark palette for the page's script, which draws on canvases."""
    return {"light": {**LIGHT, "lines": LINES_LIGHT}, "dark": {**DARK, "lines": LINES_DARK}}
