"""Writing on rubbings: words in strokes drawn here, lines, arrows, rings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import torch
import torch.nn.functional as nnf

from training.chance import Chance, Tensor, fused, mix, share
from training.fields import CELL_MM, turned
from training.leads import Leads

CELLS = 64
HANDS = 12
"""Hands that write every sign."""
BROADEST_PEN_MM = 3.5
"""A marker's; letters in broader strokes look like a few plain leads, to a person too."""
_PIECES = 40
_REACH = 28
"""Numbers a picture at most; cells that one reaches."""
_STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (
        ((0.5, 0.95), (0.15, 0.7), (0.15, 0.3), (0.5, 0.05), (0.85, 0.3), (0.85, 0.7), (0.5, 0.95)),
    ),
    "1": (((0.25, 0.7), (0.55, 0.95), (0.55, 0.05)),),
    "2": (((0.15, 0.75), (0.45, 0.95), (0.8, 0.75), (0.7, 0.5), (0.15, 0.05), (0.85, 0.05)),),
    "3": (
        (
            (0.15, 0.85),
            (0.5, 0.95),
            (0.8, 0.75),
            (0.45, 0.52),
            (0.85, 0.3),
            (0.5, 0.05),
            (0.15, 0.15),
        ),
    ),
    "4": (((0.65, 0.05), (0.65, 0.95), (0.1, 0.35), (0.9, 0.35)),),
    "5": (
        (
            (0.8, 0.95),
            (0.2, 0.95),
            (0.2, 0.55),
            (0.6, 0.6),
            (0.85, 0.35),
            (0.6, 0.05),
            (0.15, 0.12),
        ),
    ),
    "6": (
        (
            (0.75, 0.9),
            (0.4, 0.75),
            (0.15, 0.35),
            (0.45, 0.05),
            (0.8, 0.25),
            (0.6, 0.5),
            (0.2, 0.35),
        ),
    ),
    "7": (((0.15, 0.95), (0.85, 0.95), (0.4, 0.05)), ((0.3, 0.5), (0.75, 0.5))),
    "8": (
        (
            (0.5, 0.5),
            (0.2, 0.75),
            (0.5, 0.95),
            (0.8, 0.75),
            (0.2, 0.25),
            (0.5, 0.05),
            (0.8, 0.25),
            (0.5, 0.5),
        ),
    ),
    "9": (((0.8, 0.65), (0.45, 0.5), (0.2, 0.75), (0.5, 0.95), (0.8, 0.75), (0.7, 0.05)),),
    "A": (((0.1, 0.05), (0.5, 0.95), (0.9, 0.05)), ((0.25, 0.4), (0.75, 0.4))),
    "B": (((0.2, 0.05), (0.2, 0.95), (0.7, 0.8), (0.2, 0.52), (0.8, 0.3), (0.2, 0.05)),),
    "E": (((0.8, 0.95), (0.2, 0.95), (0.2, 0.05), (0.8, 0.05)), ((0.2, 0.5), (0.65, 0.5))),
    "H": (((0.2, 0.05), (0.2, 0.95)), ((0.8, 0.05), (0.8, 0.95)), ((0.2, 0.5), (0.8, 0.5))),
    "K": (((0.2, 0.05), (0.2, 0.95)), ((0.8, 0.95), (0.2, 0.45), (0.8, 0.05))),
    "L": (((0.2, 0.95), (0.2, 0.05), (0.8, 0.05)),),
    "M": (((0.1, 0.05), (0.15, 0.95), (0.5, 0.4), (0.85, 0.95), (0.9, 0.05)),),
    "N": (((0.15, 0.05), (0.15, 0.95), (0.85, 0.05), (0.85, 0.95)),),
    "S": (((0.8, 0.8), (0.5, 0.95), (0.2, 0.75), (0.8, 0.3), (0.5, 0.05), (0.15, 0.2)),),
    "T": (((0.1, 0.95), (0.9, 0.95)), ((0.5, 0.95), (0.5, 0.05))),
    "V": (((0.1, 0.95), (0.5, 0.05), (0.9, 0.95)),),
    "X": (((0.1, 0.95), (0.9, 0.05)), ((0.9, 0.95), (0.1, 0.05))),
    "a": (
        (
            (0.75, 0.5),
            (0.4, 0.55),
            (0.2, 0.25),
            (0.45, 0.05),
            (0.75, 0.3),
            (0.75, 0.55),
            (0.8, 0.05),
        ),
    ),
    "e": (((0.2, 0.3), (0.8, 0.35), (0.5, 0.6), (0.2, 0.3), (0.45, 0.05), (0.8, 0.15)),),
    "n": (((0.2, 0.05), (0.2, 0.6), (0.2, 0.4), (0.55, 0.6), (0.75, 0.4), (0.75, 0.05)),),
    "r": (((0.25, 0.05), (0.25, 0.6), (0.3, 0.45), (0.7, 0.6)),),
    "l": (((0.4, 0.95), (0.4, 0.15), (0.65, 0.05)),),
    "-": (((0.2, 0.5), (0.8, 0.5)),),
    ">": (((0.1, 0.5), (0.9, 0.5)), ((0.6, 0.75), (0.9, 0.5), (0.6, 0.25))),
    "C": (((0.85, 0.8), (0.5, 0.95), (0.15, 0.5), (0.5, 0.05), (0.85, 0.2)),),
    "D": (((0.2, 0.05), (0.2, 0.95), (0.8, 0.75), (0.8, 0.25), (0.2, 0.05)),),
    "F": (((0.8, 0.95), (0.2, 0.95), (0.2, 0.05)), ((0.2, 0.5), (0.65, 0.5))),
    "G": (
        (
            (0.85, 0.8),
            (0.5, 0.95),
            (0.15, 0.5),
            (0.5, 0.05),
            (0.85, 0.25),
            (0.85, 0.45),
            (0.55, 0.45),
        ),
    ),
    "P": (((0.2, 0.05), (0.2, 0.95), (0.8, 0.8), (0.7, 0.5), (0.2, 0.5)),),
    "R": (((0.2, 0.05), (0.2, 0.95), (0.8, 0.8), (0.7, 0.5), (0.2, 0.5), (0.85, 0.05)),),
    "W": (((0.05, 0.95), (0.3, 0.05), (0.5, 0.6), (0.7, 0.05), (0.95, 0.95)),),
    "Z": (((0.15, 0.95), (0.85, 0.95), (0.15, 0.05), (0.85, 0.05)),),
    "b": (((0.25, 0.95), (0.25, 0.05), (0.7, 0.1), (0.75, 0.45), (0.25, 0.5)),),
    "c": (((0.75, 0.5), (0.4, 0.58), (0.2, 0.3), (0.45, 0.05), (0.75, 0.15)),),
    "d": (((0.75, 0.95), (0.75, 0.05), (0.3, 0.1), (0.25, 0.45), (0.75, 0.5)),),
    "f": (((0.75, 0.85), (0.5, 0.95), (0.4, 0.75), (0.4, -0.1)), ((0.2, 0.55), (0.65, 0.55))),
    "g": (
        ((0.7, 0.55), (0.3, 0.55), (0.25, 0.2), (0.7, 0.2), (0.75, 0.6), (0.7, -0.1), (0.3, -0.1)),
    ),
    "h": (((0.25, 0.95), (0.25, 0.05), (0.3, 0.45), (0.6, 0.55), (0.75, 0.35), (0.75, 0.05)),),
    "i": (((0.5, 0.55), (0.5, 0.05)), ((0.5, 0.75), (0.5, 0.78))),
    "k": (((0.25, 0.95), (0.25, 0.05)), ((0.7, 0.6), (0.25, 0.3), (0.75, 0.05))),
    "m": (
        ((0.1, 0.05), (0.1, 0.55), (0.3, 0.55), (0.5, 0.05), (0.5, 0.5), (0.75, 0.55), (0.9, 0.05)),
    ),
    "p": (((0.25, -0.2), (0.25, 0.6), (0.7, 0.5), (0.7, 0.15), (0.25, 0.1)),),
    "s": (((0.7, 0.5), (0.4, 0.6), (0.3, 0.4), (0.7, 0.2), (0.45, 0.05), (0.2, 0.12)),),
    "t": (((0.45, 0.9), (0.45, 0.15), (0.7, 0.05)), ((0.2, 0.6), (0.7, 0.6))),
    "u": (((0.2, 0.6), (0.25, 0.1), (0.6, 0.08), (0.75, 0.6), (0.8, 0.05)),),
    "w": (((0.1, 0.6), (0.3, 0.05), (0.5, 0.45), (0.7, 0.05), (0.9, 0.6)),),
    "o": (((0.5, 0.6), (0.2, 0.35), (0.5, 0.05), (0.8, 0.35), (0.5, 0.6)),),
}


def atlas(seed: int, device: str) -> Tensor:
    """Return glyphs (G, CELLS, CELLS): distance to the stroke, as a share of the letter's height.

    Every sign is written by several hands (bent, slanted); scribbles that are no sign come along.
    """
    rng = np.random.default_rng(seed)
    grid = (np.arange(CELLS) + 0.5) / CELLS
    x, y = np.meshgrid(grid, grid[::-1])
    out = []
    for strokes in list(_STROKES.values()) * HANDS:
        out.append(_distance([_written(np.array(s), rng) for s in strokes], x, y))
    for _ in range(40):
        out.append(_distance([_written(rng.uniform(0.1, 0.9, (rng.integers(3, 7), 2)), rng)], x, y))
    return torch.tensor(np.array(out), dtype=torch.float32, device=device)


def _written(stroke: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Round a stroke's corners and bend it as a hand does."""
    p = stroke + rng.normal(0, 0.035, stroke.shape)
    for _ in range(int(rng.integers(0, 4))):
        a, b = p[:-1], p[1:]
        cut = np.stack((0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b), axis=1).reshape(-1, 2)
        p = np.vstack((p[:1], cut, p[-1:]))
    slant = rng.normal(0.05, 0.12)
    return np.column_stack((p[:, 0] + slant * (p[:, 1] - 0.5), p[:, 1]))


def _distance(strokes: list[np.ndarray], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    best = np.full(x.shape, 9.0)
    for p in strokes:
        for (ax, ay), (bx, by) in pairwise(p):
            ux, uy = bx - ax, by - ay
            t = np.clip(((x - ax) * ux + (y - ay) * uy) / max(ux * ux + uy * uy, 1e-9), 0, 1)
            best = np.minimum(best, np.hypot(x - ax - t * ux, y - ay - t * uy))
    return best


def words(
    chance: Chance, glyphs: Tensor, x: Tensor, y: Tensor, count: int, joint_mm: Tensor
) -> Tensor:
    """Return the density of up to `count` words a picture, anywhere, also across leads.

    Half of them lie where joints are near: over small pieces and narrow strips.
    """
    total = torch.zeros_like(x)
    busy = chance.uniform(len(x), 0, 1) ** 2
    for k in range(count):
        total = _word(chance, glyphs, x, y, joint_mm, total, busy, k % 2)
    return total


@fused
def _word(
    chance: Chance,
    glyphs: Tensor,
    x: Tensor,
    y: Tensor,
    joint_mm: Tensor,
    total: Tensor,
    busy: Tensor,
    tight: int,
) -> Tensor:
    m = len(x)
    there = chance.yes(m, busy)
    high = chance.spread(m, 5, 85)
    wide = high * chance.uniform(m, 0.55, 0.9)
    angle = torch.where(chance.yes(m, 0.7), chance.normal(m, 0.1), chance.uniform(m, 0, 6.3))
    at_x, at_y = _spot(chance, joint_mm) if tight else _anywhere(chance, m)
    letters = torch.where(chance.yes(m, 0.6), chance.whole(m, 1, 4), chance.whole(m, 3, 12))
    u, v = turned(x - at_x, y - at_y, angle)
    u = u + chance.uniform(m, 0, 1) * wide * letters
    place = u / wide
    slot = torch.floor(place)
    inside = (slot >= 0) & (slot < letters) & (v.abs() < high / 2)
    which = (share(mix(slot, chance.whole(m, 0, 1 << 30)), 1) * len(glyphs)).long()
    far = _far(glyphs, which.clamp(0, len(glyphs) - 1), place - slot, v / high) * high
    bold = (high / chance.uniform(m, 6, 12)).clamp(1, 5.5)
    pen = chance.spread(m, 0.3, 1.4) * torch.where(chance.yes(m, 0.45), bold, 1.0)
    pen = pen.clamp_max(BROADEST_PEN_MM)
    ink = torch.sigmoid((pen / 2 - far) / chance.uniform(m, 0.1, 0.4)) * inside
    # A dry pen or a stick of graphite leaves grain, a wet one none.
    grain = torch.rand(ink.shape, device=ink.device)
    dry = 1 - chance.sometimes(m, 0.5, 0.1, 0.8) * grain
    return torch.maximum(total, ink * dry * chance.uniform(m, 0.15, 2.2) * there)


def _far(glyphs: Tensor, which: Tensor, across: Tensor, down: Tensor) -> Tensor:
    """Return the distance to a sign's stroke, in heights; across 0 .. 1, down -0.5 .. 0.5."""
    column = (across * CELLS).long().clamp(0, CELLS - 1)
    row = ((down + 0.5) * CELLS).long().clamp(0, CELLS - 1)
    return glyphs[which, row, column]


def numbers(chance: Chance, glyphs: Tensor, leads: Leads, pigment: Tensor) -> Tensor:
    """Return the density of a number in every piece, in most pictures, by one hand each.

    It is often as bold and as dark as the `pigment` on the leads, and where the piece is narrow it
    runs over them: a hand writes no smaller than it can read. Some hands write along the piece.
    """
    depth = (leads.away_mm - leads.half_mm).clamp_min(0) * (leads.piece != 0)
    n, side = len(depth), depth.shape[1]
    middle = (nnf.max_pool2d(depth[:, None], 25, 1, 12)[:, 0] == depth) & (depth > 1.0)
    score = (middle * torch.rand(depth.shape, device=depth.device)).flatten(1)
    kept, at = score.topk(_PIECES, dim=1)
    room = depth.flatten(1).gather(1, at)
    most = chance.spread(n, 5, 18, 1)
    fills = torch.minimum(most, room * chance.uniform(n, 1.1, 2.3, _PIECES))
    high = torch.maximum(fills, torch.minimum(most, chance.spread(n, 3, 9, 1)))[..., None]
    digits = torch.where(chance.yes(n, 0.75, _PIECES), 2, chance.whole(n, 1, 4, _PIECES))
    wide = high * chance.uniform(n, 0.5, 0.85, 1, 1)
    # Some hands fill a narrow piece from lead to lead, in strokes that look like lead or paler.
    alike = chance.yes(n, 0.45, 1, 1)
    pale = torch.where(chance.yes(n, 0.15, 1, 1), chance.uniform(n, 0.25, 0.8, 1, 1), 1.0)
    narrow = alike & (room[..., None] < 9.0)
    # One figure alone, a 1 or a 7 that lies on its side, would pass for a lead if it touched both.
    single = torch.where(digits == 1, 0.65, 1.0)[..., None]
    across = 2 * room[..., None] * single * chance.uniform(n, 0.75, 1.3, _PIECES, 1)
    wide = torch.where(narrow, across / digits[..., None], wide)
    high = torch.where(narrow, (wide / chance.uniform(n, 0.5, 0.9, 1, 1)).clamp(3, 12), high)
    angle = chance.normal(n, 0.07, 1, 1) + chance.normal(n, 0.05, _PIECES, 1)
    upended = chance.yes(n, chance.sometimes(n, 0.3, 0.2, 1.0), _PIECES, 1)
    angle = angle + 1.5708 * upended
    ring = chance.yes(n, 0.15, 1, 1)
    pen = torch.minimum(high * chance.uniform(n, 0.06, 0.3, 1, 1), chance.spread(n, 0.5, 3.2, 1, 1))
    pen = torch.where(narrow, high * chance.uniform(n, 0.12, 0.28, 1, 1), pen)
    solid = leads.away_mm < leads.half_mm
    usual = (pigment * solid).sum(dim=(1, 2)) / solid.sum(dim=(1, 2)).clamp_min(1)
    usual = usual[:, None, None] * chance.uniform(n, 0.6, 1.6)
    usual = torch.where(alike, usual * pale, usual)
    dark = torch.where(alike | chance.yes(n, 0.5), usual, chance.uniform(n, 0.2, 2.0))
    dark = dark * (alike | chance.yes(n, 0.6)) * (kept[..., None] > 0)
    soft = chance.uniform(n, 0.1, 0.4, 1, 1)
    hand = chance.whole(n, 0, HANDS, 1, 1) * len(_STROKES)

    off = torch.arange(-_REACH, _REACH, device=depth.device)
    dy, dx = (t.flatten() for t in torch.meshgrid(off, off, indexing="ij"))
    row, column = (at // side)[..., None] + dy, (at % side)[..., None] + dx
    on = (row >= 0) & (row < side) & (column >= 0) & (column < side)
    aside = chance.normal(n, 0.15, 2, _PIECES, 1) * room[:, None, :, None]
    u, v = turned(dx * CELL_MM - aside[:, 0], dy * CELL_MM - aside[:, 1], angle)
    place = u / wide + digits[..., None] / 2
    slot = torch.floor(place)
    inside = (slot >= 0) & (slot < digits[..., None]) & (v.abs() < high / 2)
    salt = chance.whole(n, 0, 1 << 30, _PIECES, 1)
    which = hand + (share(mix(slot, salt), 1) * 10).long()
    far = torch.where(inside, _far(glyphs, which, place - slot, v / high) * high, 9.0)
    far = torch.where(ring, torch.minimum(far, (torch.hypot(u, v) - 0.8 * high).abs()), far)
    ink = torch.sigmoid((pen / 2 - far) / soft) * dark * on
    ink = ink * (1 - chance.sometimes(n, 0.4, 0.1, 0.8) * torch.rand(ink.shape, device=ink.device))
    coarse = torch.exp(chance.sometimes(n, 0.4, 0.2, 1.2) * _tooth(depth)).flatten(1)
    spots = (row.clamp(0, side - 1) * side + column.clamp(0, side - 1)).flatten(1)
    total = torch.zeros_like(coarse).scatter_reduce(1, spots, ink.flatten(1), "amax")
    return (total * coarse.clamp_max(1.5)).reshape(depth.shape)


def _tooth(like: Tensor) -> Tensor:
    """Return noise of deviation 1 and a cell or two in size: paper that a pencil does not fill."""
    white = torch.randn(like.shape, device=like.device)
    return 3.0 * nnf.avg_pool2d(white[:, None], 3, 1, 1)[:, 0]


def _anywhere(chance: Chance, n: int) -> tuple[Tensor, Tensor]:
    return chance.uniform(n, -130, 130), chance.uniform(n, -130, 130)


def _spot(chance: Chance, joint_mm: Tensor) -> tuple[Tensor, Tensor]:
    """Return the one of several random places that has most joints about it."""
    n, tries = len(joint_mm), 6
    crowded = nnf.avg_pool2d(joint_mm[:, None].clamp_max(40.0), 32)[:, 0].flatten(1)
    cells = joint_mm.shape[1] // 32
    at = chance.whole(n, 0, cells * cells, tries)
    best = at.gather(1, crowded.gather(1, at).argmin(dim=1, keepdim=True))
    step = 32 * CELL_MM
    inside = chance.uniform(n, -0.5, 0.5), chance.uniform(n, -0.5, 0.5)
    column, row = (best % cells)[:, :, None], (best // cells)[:, :, None]
    off = (cells - 1) / 2
    return (column - off + inside[0]) * step, (row - off + inside[1]) * step


def lines(chance: Chance, x: Tensor, y: Tensor, count: int) -> Tensor:
    """Return the density of drawn lines: rulers' lines, arrows, rings about numbers, dimensions."""
    total = torch.zeros_like(x)
    busy = chance.uniform(len(x), 0, 1) ** 2
    for _ in range(count):
        total = _drawn(chance, x, y, total, busy)
    return total


@fused
def _drawn(chance: Chance, x: Tensor, y: Tensor, total: Tensor, busy: Tensor) -> Tensor:
    m = len(x)
    there = chance.yes(m, 0.5 * busy)
    angle = torch.where(
        chance.yes(m, 0.6),
        chance.pick(m, (0.0, 1.5708)) + chance.normal(m, 0.03),
        chance.uniform(m, 0, 3.15),
    )
    u, v = turned(x - chance.uniform(m, -130, 130), y - chance.uniform(m, -130, 130), angle)
    long = chance.spread(m, 8, 300)
    bend = chance.normal(m, 1.5) * torch.sin(u / chance.spread(m, 20, 90))
    away = torch.hypot((u.abs() - long / 2).clamp_min(0), v + bend)
    ring = (torch.hypot(u, v * chance.uniform(m, 0.7, 1.3)) - chance.spread(m, 5, 30)).abs()
    away = torch.where(chance.yes(m, 0.2), ring, away)
    wide = chance.spread(m, 0.25, 2.4)
    dashes = chance.yes(m, 0.15) & (torch.sin(u / chance.spread(m, 2, 8)) > 0)
    ink = torch.sigmoid((wide / 2 - away) / 0.15) * ~dashes
    return torch.maximum(total, ink * chance.uniform(m, 0.1, 1.6) * there)
