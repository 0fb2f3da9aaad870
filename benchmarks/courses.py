"""A large window of many pieces, to see how work grows: ``python -m benchmarks.courses 1000 -o F``.

Rows of bricks of uneven length, all on a sheet of one size, drawn by the first renderer: so only
the number of pieces differs.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.rendering import designs
from tests.rendering.designs.setting_out import Rng, box, leaf, widths
from tests.rendering.geometry import Design, Strip, line
from tests.rendering.render import Case, render, write

PANEL_MM = (900.0, 1100.0)
BRICK = 1.5
"""Length of a brick over its height."""


def courses(rng: Rng, pieces: int) -> Design:
    """Set about so many bricks in rows; no joint lies over another."""
    field, _, border = widths(rng)
    profile = leaf(rng)
    w, h = PANEL_MM
    rows = round((pieces * BRICK * h / w) ** 0.5)
    each = round(pieces / rows)
    strips = [Strip(box(w, h), border, "flat", True)]
    for row in range(rows):
        low, high = h * row / rows, h * (row + 1) / rows
        if row:
            strips.append(Strip(line((0, low), (w, low)), field, profile))
        for k in range(1, each):
            shift = rng.uniform(-0.15, 0.15) + (0.25 if row % 2 else -0.25)
            x = w * (k + shift) / each
            strips.append(Strip(line((x, low), (x, high)), field, profile))
    return Design("courses", tuple(strips))


def main() -> None:
    """Read the command line and draw."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.courses", description=__doc__)
    parser.add_argument("pieces", type=int)
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    designs.DESIGNS["courses"] = lambda rng: courses(rng, args.pieces)
    case = Case("courses", "everyday", 7, "scan", "dpi", 200.0, variety=False)
    print(write(render(case), args.output, 90))


if __name__ == "__main__":
    main()
