"""Draw loose glass by the second hand: ``python -m tests.second_bench -o FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.second_bench.bench import Bench, write
from tests.second_bench.setting import GROUNDS

parser = argparse.ArgumentParser(prog="python -m tests.second_bench", description=__doc__)
parser.add_argument("--design", default="canopy")
parser.add_argument("--seed", type=int, default=1)
parser.add_argument("--ground", choices=GROUNDS, default="paper")
parser.add_argument("--reference", choices=("targets", "marks"), default="targets")
parser.add_argument("--fragments", type=int, default=2, help="how many pieces are broken")
parser.add_argument("--over", type=float, default=0.0, help="share that lies turned over")
parser.add_argument("--most", type=int, default=40, help="whole pieces at most")
parser.add_argument("-o", "--output", type=Path, required=True)
given = parser.parse_args()
write(
    Bench(
        given.design,
        given.seed,
        given.ground,
        given.reference,
        broken=given.fragments,
        over=given.over,
        most=given.most,
    ),
    given.output,
)
