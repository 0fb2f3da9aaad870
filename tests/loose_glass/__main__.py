"""Draw photographs of loose glass: ``python -m tests.loose_glass --design NAME -o FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.loose_glass.bench import GROUNDS
from tests.loose_glass.scene import Bench, write

parser = argparse.ArgumentParser(prog="python -m tests.loose_glass", description=__doc__)
parser.add_argument("--design", default="lancet")
parser.add_argument("--seed", type=int, default=1)
parser.add_argument("--ground", choices=(*GROUNDS, "scan"), default="light-table")
parser.add_argument("--px-per-mm", type=float, default=5.0)
parser.add_argument("--missing", type=float, default=0.08)
parser.add_argument("--strangers", type=float, default=0.08)
parser.add_argument("--fragments", type=int, default=0, help="how many pieces are broken")
parser.add_argument("--over", type=float, default=0.0, help="share that lies turned over")
parser.add_argument("-o", "--output", type=Path, required=True)
given = parser.parse_args()
write(
    Bench(
        given.design,
        given.seed,
        given.ground,
        given.px_per_mm,
        given.missing,
        given.strangers,
        fragments=given.fragments,
        over=given.over,
    ),
    given.output,
)
