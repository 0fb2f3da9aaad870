"""Batches of synthetic rubbings with their truth, drawn on the accelerator while it trains."""

from __future__ import annotations

from dataclasses import dataclass

import torch
import torch.nn.functional as nnf

from training import camera, deposit, marks, writing
from training.chance import Chance, Tensor
from training.fields import CELL_MM, SIDE, grid
from training.inputs import prepared
from training.leads import Leads, direction, draw_leads

CENTRE_MM = 0.75
JOINT_MM = 1.6
PLAIN = 0.2
"""Share of pictures drawn in ink without a fault: a map must read what is easy, too."""
WRITTEN = 0.1
"""Density of ink from which a place counts as written on, and so do those within `WRITTEN_MM`."""
WRITTEN_MM = 3.0


@dataclass(frozen=True, slots=True)
class Batch:
    """What the network sees and what it should say.

    Attributes
    ----------
    given : (n, 2, S, S) contrast and mask.
    leaf, centre, joint, border, inside : (n, S, S) shares of 0 .. 1.
    cosine, sine : (n, S, S) of twice the direction of the nearest lead.
    width : (n, S, S) face width of the nearest lead in cm.
    grey : (n, S, S) the picture, for looking at.
    written : (n, S, S) 1 where something is written or drawn nearby, else 0.
    """

    given: Tensor
    leaf: Tensor
    centre: Tensor
    joint: Tensor
    border: Tensor
    inside: Tensor
    cosine: Tensor
    sine: Tensor
    width: Tensor
    grey: Tensor
    written: Tensor

    def targets(self) -> Tensor:
        """Return (n, 8, S, S) in the order of the network's outputs."""
        return torch.stack(
            (
                self.leaf,
                self.centre,
                self.joint,
                self.border,
                self.inside,
                self.cosine,
                self.sine,
                self.width,
            ),
            dim=1,
        )


def render(chance: Chance, leads: Leads, glyphs: Tensor) -> Batch:
    """Rub, mark and photograph the designs given, each by a hand of its own."""
    n = len(leads.away_mm)
    x, y = grid(n, SIDE, CELL_MM, chance.device)
    hand = deposit.draw_hand(chance, n)
    return marked(chance, leads, glyphs, hand, deposit.density(chance, leads, hand, x, y))


def marked(
    chance: Chance, leads: Leads, glyphs: Tensor, hand: deposit.Hand, pigment: Tensor
) -> Batch:
    """Mark and photograph designs that are rubbed, (n, S, S) of `pigment`."""
    n = len(leads.away_mm)
    x, y = grid(n, SIDE, CELL_MM, chance.device)
    fold, broken = marks.folds(chance, hand.worn, x, y)
    seam, parted = marks.seams(chance, x, y)
    tape, covered = marks.tape(chance, x, y)
    pigment = pigment * marks.erased(chance, x, y) * broken * parted * covered
    dense = pigment + fold + seam + tape + marks.smudges(chance, hand.worn, x, y)
    dense = (
        dense
        + marks.bars(chance, hand.worn, (leads.piece != 0).float(), x, y) * chance.yes(n, 0.5)
        + marks.printed(chance, x, y)
    )
    written = writing.words(chance, glyphs, x, y, 14, leads.joint_mm)
    written = torch.maximum(written, writing.numbers(chance, glyphs, leads, pigment))
    ink = torch.maximum(written, writing.lines(chance, x, y, 10))
    dense = torch.maximum(dense, ink) + 0.3 * torch.minimum(dense, ink)
    plain = chance.yes(n, PLAIN)
    ink = torch.where(plain, written * chance.yes(n, 0.4), ink)
    dense = torch.where(plain, torch.maximum(deposit.drawn(chance, leads), ink), dense)
    dense = marks.printed_things(chance, x, y, dense)
    edge = leads.away_mm - leads.half_mm
    raised = torch.sigmoid(-edge / 0.6)
    grey, mask, sheet = camera.photographed(chance, dense.clamp(-0.3, 4.0), raised, x, y)
    near = 2 * round(WRITTEN_MM / CELL_MM) + 1
    beside = nnf.max_pool2d((ink > WRITTEN)[:, None].float(), near, 1, near // 2)[:, 0]
    return _batch(leads, prepared(grey, mask, chance), grey, beside, edge, sheet)


def _batch(
    leads: Leads, given: Tensor, grey: Tensor, written: Tensor, edge: Tensor, sheet: Tensor
) -> Batch:
    cosine, sine = direction(leads)
    near = torch.exp(-((leads.line_mm / CENTRE_MM) ** 2) / 2) * sheet
    # A line under the border's leaf is not the border.
    own = leads.border & (leads.away_mm < leads.line_mm + CENTRE_MM)
    return Batch(
        given,
        leaf=torch.sigmoid(-edge / 0.15) * sheet,
        centre=near,
        joint=torch.exp(-((leads.joint_mm / JOINT_MM) ** 2) / 2) * sheet,
        border=near * own,
        inside=(leads.piece != 0).float() * sheet,
        cosine=cosine,
        sine=sine,
        width=0.2 * leads.half_mm,
        grey=grey,
        written=written,
    )


class Pool:
    """Designs kept on the accelerator: each is rubbed several times, then replaced."""

    def __init__(self, chance: Chance, size: int, fresh: int) -> None:
        self.chance, self.fresh = chance, fresh
        parts = [draw_leads(chance, fresh) for _ in range(-(-size // fresh))]
        self.leads = Leads(*(torch.cat([getattr(p, s) for p in parts]) for s in Leads.__slots__))
        self.oldest = 0

    def refresh(self) -> None:
        """Replace the oldest designs."""
        rows = (torch.arange(self.fresh, device=self.chance.device) + self.oldest) % len(
            self.leads.away_mm
        )
        self.leads.put(rows, draw_leads(self.chance, self.fresh))
        self.oldest = int(rows[-1]) + 1

    def draw(self, n: int) -> Leads:
        """Return `n` designs, each flipped and turned by quarters at random."""
        total = len(self.leads.away_mm)
        rows = torch.randperm(total, device=self.chance.device)[:n]
        leads = self.leads.take(rows)
        how = int(self.chance.whole(1, 0, 8))
        return _turned(leads, how)


def _turned(leads: Leads, how: int) -> Leads:
    """Flip (4) and turn by quarters (0 .. 3); the normals turn along."""
    out = {}
    for name in Leads.__slots__:
        t = getattr(leads, name)
        t = torch.flip(t, (2,)) if how & 4 else t
        out[name] = torch.rot90(t, how & 3, (1, 2)).contiguous()
    nx, ny = out["normal_x"], out["normal_y"]
    nx = -nx if how & 4 else nx
    for _ in range(how & 3):
        nx, ny = ny, -nx
    out["normal_x"], out["normal_y"] = nx, ny
    return Leads(**out)
