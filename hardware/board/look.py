"""The Gerber files as pictures, drawn by gerbonara, which knows nothing of how they were made:

    python -m hardware.board.look FOLDER

FOLDER gets upper.svg and lower.svg, as the maker of the board will see them, from above and, mirrored, from below.
"""

from __future__ import annotations

import re
import sys
import warnings
from pathlib import Path

from hardware.board import shape
from hardware.board.make import MADE

# Layers from the lowest drawn to the highest, with their colours; masks are holes in the varnish, so drawn bright
SIDES = {
    "upper": (("upper_copper.gtl", "#3f8f5f"), ("upper_mask.gts", "#d9b44a"), ("upper_print.gto", "#ffffff")),
    "lower": (("lower_copper.gbl", "#3f8f5f"), ("lower_mask.gbs", "#d9b44a"), ("lower_print.gbo", "#ffffff")),
}
_HOLES = ("holes_plated.drl", "holes_bare.drl")


def _layer(path: Path, colour: str) -> str:
    """The drawn things of one file, in millimetres from the lower left corner, y upward."""
    from gerbonara import ExcellonFile, GerberFile

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SyntaxWarning)  # KiCad repeats G90 after the drill file's header
        read = (ExcellonFile if path.suffix == ".drl" else GerberFile).open(str(path))
    bounds = ((0.0, 0.0), (shape.WIDTH_MM, shape.HEIGHT_MM))
    text = str(read.to_svg(fg=colour, bg="none", force_bounds=bounds))
    return re.sub(r"(?s)^.*?<svg[^>]*>|</svg>\s*$", "", text)


def picture(side: str, folder: Path = MADE / "gerber") -> str:
    """One side of the board as SVG."""
    wide, high = shape.WIDTH_MM, shape.HEIGHT_MM
    mirror = f' transform="translate({wide} 0) scale(-1 1)"' if side == "lower" else ""
    layers = [_layer(folder / name, colour) for name, colour in SIDES[side]]
    layers += [_layer(folder / name, "#222222") for name in _HOLES]
    layers.append(_layer(folder / "outline.gm1", "#ff5050"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" width="1400" height="1000">'
        f'<rect width="{wide:g}" height="{high:g}" fill="#1f5638"/><g{mirror}>{"".join(layers)}</g></svg>\n'
    )


def main() -> int:
    """Write both."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for side in SIDES:
        (folder / f"{side}.svg").write_text(picture(side))
    return 0


if __name__ == "__main__":
    sys.exit(main())
