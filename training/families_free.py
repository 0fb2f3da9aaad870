"""Families of designs without a rule: figures, drapery, foliage, scrolls, ribbons."""

from __future__ import annotations

import math

import torch

from training.chance import Chance, Tensor, mix, share
from training.fields import patches, turned


def cells(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Cells about scattered points, stretched and with bent edges."""
    n = len(x)
    size = chance.spread(n, 22, 110)
    u, v = turned(x, y, chance.uniform(n, 0, 3.15))
    v = v / chance.spread(n, 1.0, 3.2)
    bend = size * chance.sometimes(n, 0.7, 0.02, 0.3)
    u = u + bend * patches(chance, x, y, size * 1.5)
    v = v + bend * patches(chance, x, y, size * 1.5)
    i, j = torch.floor(u / size), torch.floor(v / size)
    wild = chance.uniform(n, 0.3, 1.0)
    city = chance.yes(n, 0.15)
    best = torch.full_like(x, 1e9)
    label = torch.zeros_like(x, dtype=torch.long)
    for dj in (-1, 0, 1):
        for di in (-1, 0, 1):
            cell = mix(i + di, j + dj)
            p = (i + di + 0.5 + wild * (share(cell, 1) - 0.5)) * size - u
            q = (j + dj + 0.5 + wild * (share(cell, 2) - 0.5)) * size - v
            far = torch.where(city, p.abs() + q.abs(), torch.hypot(p, q))
            near = far < best
            best = torch.where(near, far, best)
            label = torch.where(near, cell, label)
    return label


def contours(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Drapery and landscape: long bands between the contours of a smooth hill, cut across."""
    n = len(x)
    size = chance.spread(n, 60, 220)
    hill = patches(chance, x, y, size) + chance.uniform(n, -1, 1) * x / size
    band = torch.floor(hill * chance.uniform(n, 0.8, 2.2))
    other = patches(chance, x, y, size * chance.uniform(n, 0.6, 1.5))
    across = torch.floor(other * chance.uniform(n, 0.6, 1.8) + share(band.long(), 4) * 2)
    return mix(band, across)


def waves(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Bands that swing, with cuts of their own in every band."""
    n = len(x)
    x, y = turned(x, y, chance.uniform(n, 0, 3.15))
    high, long = chance.spread(n, 14, 80), chance.spread(n, 60, 300)
    v = y + high * chance.uniform(n, 0.2, 2.2) * torch.sin(x / long * 2 * math.pi)
    band = torch.floor(v / high + 0.3 * torch.sin(v / high * chance.uniform(n, 0.3, 1.5)))
    cut = chance.spread(n, 30, 260)
    slant = chance.uniform(n, -1, 1) * y
    return mix(band, torch.floor((x + slant) / cut + share(band.long(), 6) * 3))


def scrolls(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Spirals and their grounds, mirrored now and then."""
    n = len(x)
    wide = chance.spread(n, 70, 200)
    i, j = torch.round(x / wide), torch.round(y / wide)
    u, v = x - i * wide, y - j * wide
    u = torch.where((i.long() % 2 == 0), u, -u)
    r = torch.hypot(u, v).clamp_min(2.0)
    arms = chance.whole(n, 1, 4).float()
    wind = chance.uniform(n, 0.6, 2.4)
    turn = torch.atan2(v, u) / (2 * math.pi) * arms + wind * torch.log(r / wide)
    arm = torch.remainder(turn, 1.0) < chance.uniform(n, 0.3, 0.6)
    ring = torch.floor(torch.log(r / wide) * chance.uniform(n, 1.0, 2.5))
    outside = r > 0.48 * wide
    label = mix(i, j, torch.floor(turn), arm.long() * 7 + ring * chance.yes(n, 0.6))
    ground = mix(torch.floor(x / wide), torch.floor(y / wide), 17)
    eye = r < 0.09 * wide
    return torch.where(outside, ground, torch.where(eye, mix(i, j, 3), label))


def leaves(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Leaves and petals scattered over a ground, with midribs and stems; tips are sharp."""
    n = len(x)
    ground = torch.where(chance.yes(n, 0.5), cells(chance, x, y), contours(chance, x, y))
    label = ground
    size = chance.spread(n, 30, 110)
    for k in range(12):
        u, v = x - chance.uniform(n, -150, 150), y - chance.uniform(n, -150, 150)
        u, v = turned(u, v, chance.uniform(n, 0, 6.3))
        v = v + chance.normal(n, 0.002) * u * u  # a swung leaf
        half = size * chance.uniform(n, 0.4, 1.0)
        bow = half * chance.uniform(n, 0.75, 2.5)
        drop = torch.sqrt((bow * bow - half * half).clamp_min(0.0))
        inside = torch.hypot(u, v.abs() + drop) < bow
        inside &= chance.yes(n, 0.8)
        side = (v > 0) & chance.yes(n, 0.5)
        part = torch.floor(u / half * chance.uniform(n, 0.3, 1.5)) * chance.yes(n, 0.3)
        stem = (v.abs() < chance.uniform(n, 3.5, 8)) & (u > 0) & (u < half * 2.5) & ~inside
        label = torch.where(stem & chance.yes(n, 0.3), mix(u * 0, k, 5), label)
        label = torch.where(inside, mix(side.long(), part, k), label)
    return label


def figures(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Bent shapes laid over each other, each with folds of its own: heads, hands, robes."""
    n = len(x)
    label = torch.where(chance.yes(n, 0.5), cells(chance, x, y), contours(chance, x, y))
    for k in range(7):
        u, v = x - chance.uniform(n, -140, 140), y - chance.uniform(n, -140, 140)
        u, v = turned(u, v, chance.uniform(n, 0, 6.3))
        wide, tall = chance.spread(n, 12, 70), chance.spread(n, 20, 130)
        wobble = patches(chance, x, y, tall) * wide * chance.uniform(n, 0, 0.35)
        power = chance.uniform(n, 1.6, 4.0)
        far = ((u + wobble).abs() / wide) ** power + (v.abs() / tall) ** power
        inside = (far < 1.0) & chance.yes(n, 0.75)
        fold = torch.floor((u + wobble * 2) / chance.spread(n, 12, 60))
        cut = torch.floor((v + wobble) / chance.spread(n, 25, 150))
        inner = mix(fold * chance.yes(n, 0.6), cut * chance.yes(n, 0.6), k)
        label = torch.where(inside, inner, label)
    return label


def ribbons(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Ribbons and straps that pass over and under each other on a ground."""
    n = len(x)
    wide = chance.uniform(n, 9, 30)
    long = chance.spread(n, 60, 220)
    label = torch.where(
        chance.yes(n, 0.5), cells(chance, x, y), mix(torch.floor(x / long), torch.floor(y / long))
    )
    for k in range(4):
        u, v = turned(x, y, chance.pick(n, (0.0, 1.5708, 0.785, -0.785)))
        swing = long * chance.uniform(n, 0.0, 0.4)
        away = v - swing * torch.sin(u / long * 2 * math.pi + chance.uniform(n, 0, 6.3))
        away = away - long * chance.pick(n, (0.5, 1.0, 1.5)) * torch.round(away / long)
        inside = (away.abs() < wide / 2) & chance.yes(n, 0.6)
        under = (torch.floor(u / long).long() + k) % 2 == 0
        tie = torch.floor(u / chance.spread(n, 25, 160))
        label = torch.where(inside & ~(under & chance.yes(n, 0.5)), mix(tie, k, 61), label)
    return label


def plain(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Hardly any lead: one or two cuts across a wide ground."""
    n = len(x)
    u, v = turned(x, y, chance.uniform(n, 0, 3.15))
    bend = chance.normal(n, 15) * torch.sin(u / chance.spread(n, 40, 200))
    one = (v + bend > chance.uniform(n, -120, 120)) & chance.yes(n, 0.7)
    two = (u > chance.uniform(n, -120, 120)) & chance.yes(n, 0.5)
    return mix(one.long(), two.long())


def overlapping_circles(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Circles of any size laid anywhere, cutting or touching each other."""
    n = len(x)
    label = torch.where(chance.yes(n, 0.4), cells(chance, x, y), torch.zeros_like(x).long())
    over = chance.yes(n, 0.5)
    for k in range(6):
        u, v = x - chance.uniform(n, -170, 170), y - chance.uniform(n, -170, 170)
        r = torch.hypot(u, v)
        radius = chance.spread(n, 15, 170)
        frame = chance.sometimes(n, 0.3, 6, 16)
        inside = (r < radius) & chance.yes(n, 0.7)
        ring = inside & (r > radius - frame)
        tie = torch.floor(torch.atan2(v, u) * chance.uniform(n, 0.5, 3))
        new = torch.where(ring, mix(tie, k, 2), mix(tie * 0, k, 3))
        new = torch.where(over, new, label + mix(tie * 0, k, 4))
        label = torch.where(inside, new, label)
    return label


FREE = (
    cells,
    cells,
    contours,
    waves,
    scrolls,
    leaves,
    leaves,
    figures,
    figures,
    ribbons,
    plain,
    overlapping_circles,
)
