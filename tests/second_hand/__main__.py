"""Make one rubbing by the second hand: the picture, truth.json, reference.txt."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.second_hand.circumstances import TIERS
from tests.second_hand.designs import DESIGNS
from tests.second_hand.references import KINDS
from tests.second_hand.render import Case, make, write


def main() -> None:
    """Read the command line, make the case, print the picture's path."""
    parser = argparse.ArgumentParser(prog="python -m tests.second_hand", description=__doc__)
    parser.add_argument("--design", required=True, choices=DESIGNS)
    parser.add_argument("--tier", default="clean", choices=TIERS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--capture", default="scan", choices=sorted(KINDS))
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    print(write(make(Case(args.design, args.tier, args.seed, args.capture)), args.output))


if __name__ == "__main__":
    main()
