"""Fill the cache of compiled code: ``python -m training.warm designs``, ``rubbing`` and ``rest``.

Started side by side with a run that has ``--eager 190`` and the same TORCHINDUCTOR_CACHE_DIR, the
three compile what the run then finds. Each takes one to three minutes.
"""

from __future__ import annotations

import argparse

import torch

from training import deposit, generator
from training.chance import Chance, fuse
from training.fields import CELL_MM, SIDE, grid
from training.leads import Leads, draw_leads
from training.writing import atlas

PARTS = ("designs", "rubbing", "rest")
FRESH, TIMES = 16, 4
"""Designs drawn at a time, and how often they fill a batch of 64: as `training.train` does."""


def main() -> None:
    """Draw one batch, of which one part is compiled."""
    parser = argparse.ArgumentParser(prog="python -m training.warm", description=__doc__)
    parser.add_argument("part", choices=PARTS)
    parser.add_argument("--device", default="cuda")
    args = parser.parse_args()
    chance, glyphs = Chance(1, args.device), atlas(1, args.device)
    with torch.no_grad():
        fuse(on=args.part == "designs")
        few = draw_leads(chance, FRESH)
        leads = Leads(*(torch.cat([getattr(few, name)] * TIMES) for name in Leads.__slots__))
        fuse(on=args.part == "rubbing")
        x, y = grid(FRESH * TIMES, SIDE, CELL_MM, chance.device)
        hand = deposit.draw_hand(chance, FRESH * TIMES)
        pigment = deposit.density(chance, leads, hand, x, y)
        fuse(on=args.part == "rest")
        generator.marked(chance, leads, glyphs, hand, pigment)


if __name__ == "__main__":
    main()
