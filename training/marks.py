"""What else lies on a sheet: smudges, stains, folds, tape, bars, printed lines, targets, rulers.

Each returns what it adds to the optical density, or a factor on the pigment or on the light.
"""

from __future__ import annotations

import torch

from training.chance import Chance, Tensor, fused, mix, share
from training.fields import patches, streaks, turned

PALE = 0.2
"""Density below which a bar may show in places only."""


def _somewhere(chance: Chance, x: Tensor, y: Tensor, angle: Tensor) -> tuple[Tensor, Tensor]:
    n = len(x)
    return turned(x - chance.uniform(n, -140, 140), y - chance.uniform(n, -140, 140), angle)


def _edge(away: Tensor, soft: float | Tensor) -> Tensor:
    return torch.sigmoid(-away / soft)


@fused
def smudges(chance: Chance, worn: Tensor, x: Tensor, y: Tensor) -> Tensor:
    """Return the density of finger marks, smears and stains with a rim."""
    n = len(x)
    cloud = patches(chance, x, y, chance.spread(n, 10, 80))
    total = chance.sometimes(n, 0.6, 0.0, 0.4) * worn * torch.sigmoid((cloud - 0.8) * 4)
    smear = streaks(
        chance, x, y, chance.spread(n, 20, 120), chance.spread(n, 3, 16), chance.uniform(n, 0, 3.15)
    )
    total = total + chance.sometimes(n, 0.5, 0.0, 0.5) * worn * torch.sigmoid((smear - 1.2) * 5)
    for _ in range(3):
        u, v = _somewhere(chance, x, y, chance.uniform(n, 0, 3.15))
        far = torch.hypot(u, v * chance.uniform(n, 0.5, 1.0)) - chance.spread(n, 5, 50)
        far = far + 3 * patches(chance, x, y, chance.spread(n, 8, 40))
        rim = torch.exp(-((far / chance.uniform(n, 0.4, 1.5)) ** 2))
        stain = chance.sometimes(n, 0.12, 0.03, 0.4)
        total = total + stain * (0.4 * _edge(far, 1.0) + rim * chance.yes(n, 0.6))
    return total


@fused
def erased(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Return a factor on the pigment: strokes of a rubber, creases where it broke off."""
    n = len(x)
    factor = torch.ones_like(x)
    for _ in range(2):
        u, v = _somewhere(chance, x, y, chance.uniform(n, 0, 3.15))
        inside = _edge(u.abs() - chance.spread(n, 8, 60), 2.0) * _edge(
            v.abs() - chance.spread(n, 3, 25), 1.0
        )
        factor = factor * (1 - chance.sometimes(n, 0.15, 0.3, 1.0) * inside)
    return factor


@fused
def folds(chance: Chance, worn: Tensor, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """Return the density of folds and a factor on the pigment.

    A fold is dark where the stick caught it, pale where the pigment broke off, or both side by
    side; it runs straight across the whole sheet. Crumpled paper has many short ones.
    """
    n = len(x)
    dark, factor = torch.zeros_like(x), torch.ones_like(x)
    for k in range(4):
        angle = chance.pick(n, (0.0, 1.5708)) + chance.normal(n, 0.03)
        angle = torch.where(chance.yes(n, 0.25), chance.uniform(n, 0, 3.15), angle)
        u, v = _somewhere(chance, x, y, angle)
        v = v + chance.normal(n, 0.3) * torch.sin(u / chance.spread(n, 20, 90))
        short = chance.yes(n, 0.3)
        there = torch.where(
            short, _edge(u.abs() - chance.spread(n, 10, 60), 1.0), torch.ones_like(u)
        )
        there = there * chance.yes(n, (0.12 + 0.3 * worn) / (1 + 0.4 * k))
        wide = chance.spread(n, 0.25, 1.3)
        uneven = torch.sigmoid(2 * patches(chance, x, y, chance.spread(n, 4, 40)) + 1)
        line = torch.exp(-((v / wide) ** 2)) * there
        dark = dark + line * uneven * chance.sometimes(n, 0.6, 0.05, 1.0)
        shade = torch.tanh(v / 3) * torch.exp(-v.abs() / chance.spread(n, 2, 20)) * there
        dark = dark + shade * chance.sometimes(n, 0.4, -0.12, 0.12)
        side = torch.exp(-(((v - wide) / chance.spread(n, 0.3, 1.6)) ** 2)) * there
        factor = factor * (1 - side * chance.sometimes(n, 0.6, 0.3, 1.0))
    crumple = patches(chance, x, y, chance.spread(n, 8, 40))
    ridge = torch.exp(-((crumple / 0.05) ** 2)) * chance.sometimes(n, 0.1, 0.05, 0.4)
    return dark + ridge, factor


@fused
def seams(chance: Chance, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """Return the density of seams between joined papers and a factor on the pigment.

    The upper paper's edge is dark or shows its shadow; beside it a strip may be hardly rubbed.
    """
    n = len(x)
    dark, factor = torch.zeros_like(x), torch.ones_like(x)
    for _ in range(2):
        there = chance.yes(n, 0.1)
        angle = chance.pick(n, (0.0, 1.5708, 3.1416, 4.7124)) + chance.normal(n, 0.02)
        _, v = _somewhere(chance, x, y, angle)
        v = v + chance.sometimes(n, 0.3, 0.2, 1.0) * patches(chance, x, y, chance.spread(n, 5, 40))
        line = torch.exp(-((v / chance.spread(n, 0.25, 1.2)) ** 2))
        uneven = torch.sigmoid(2 * patches(chance, x, y, chance.spread(n, 8, 60)) + 1)
        dark = dark + there * line * uneven * chance.uniform(n, 0, 1.2)
        strip = torch.sigmoid(v / 0.3) * torch.sigmoid((chance.spread(n, 0.8, 20) - v) / 1.0)
        factor = factor * (1 - there * strip * chance.sometimes(n, 0.6, 0.3, 1.0))
        tone = torch.sigmoid(v / 0.2) * chance.uniform(n, -0.1, 0.2)
        dark = dark + there * tone * chance.yes(n, 0.5)
    return dark, factor


@fused
def bars(chance: Chance, worn: Tensor, inside: Tensor, x: Tensor, y: Tensor) -> Tensor:
    """Return the density of iron bars rubbed through from behind.

    They run straight across whatever is leaded, without a joint, narrow or broad, paler than most
    lead; `inside` is 1 on the panel, beyond which they end or go on to their fixings.
    """
    n = len(x)
    angle = chance.pick(n, (0.0, 0.0, 0.0, 1.5708)) + chance.normal(n, 0.02)
    _, v = turned(x, y, angle)
    gap = chance.uniform(n, 120, 400)
    v = v - chance.uniform(n, -130, 130)
    v = v - gap * torch.round(v / gap)
    wide = chance.spread(n, 1.5, 13)
    body = _edge(v.abs() - wide, chance.spread(n, 0.2, 3.0))
    rim = torch.exp(-(((v.abs() - wide) / chance.spread(n, 0.4, 2.0)) ** 2))
    body = torch.maximum(
        body * chance.uniform(n, 0.2, 1.0), rim * chance.sometimes(n, 0.4, 0.2, 1.0)
    )
    uneven = torch.sigmoid(
        2 * patches(chance, x, y, chance.spread(n, 8, 80)) + chance.uniform(n, -1, 2)
    )
    strength = chance.sometimes(n, 0.18, 0.05, 0.6) * (0.3 + 0.7 * worn)
    uneven = torch.where(strength < PALE, uneven, 1.0)  # a dark one runs right across
    beyond = torch.where(chance.yes(n, 0.6), inside, torch.ones_like(inside))
    return body * uneven * strength * beyond


@fused
def printed(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Return the density of ruled or squared paper, and of lines set out on it."""
    n = len(x)
    pitch = chance.pick(n, (1.0, 2.0, 4.0, 5.0, 6.35, 8.0, 10.0, 12.7, 20.0, 25.4))
    u, v = turned(x, y, chance.normal(n, 0.01))
    u, v = u + chance.uniform(n, 0, 25), v + chance.uniform(n, 0, 25)
    thin = chance.uniform(n, 0.1, 0.35)
    du = (u - pitch * torch.round(u / pitch)).abs()
    dv = (v - pitch * torch.round(v / pitch)).abs()
    both = torch.where(chance.yes(n, 0.7), torch.minimum(du, dv), dv)
    strong = (torch.round(u / pitch).long() % 5 == 0) & (du < dv)
    strong |= (torch.round(v / pitch).long() % 5 == 0) & (dv <= du)
    line = _edge(both - thin, 0.1) * (0.6 + 0.6 * strong)
    return line * chance.sometimes(n, 0.1, 0.05, 0.6)


@fused
def tape(chance: Chance, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """Return the density of tape (darker, yellowed, or pale and glossy) and a factor on pigment."""
    n = len(x)
    total, factor = torch.zeros_like(x), torch.ones_like(x)
    for _ in range(3):
        angle = chance.pick(n, (0.0, 1.5708, 0.785)) + chance.normal(n, 0.08)
        u, v = _somewhere(chance, x, y, angle)
        long, wide = chance.spread(n, 20, 260), chance.uniform(n, 6, 28)
        inside = _edge(u.abs() - long / 2, 0.2) * _edge(v.abs() - wide, 0.2)
        rim = torch.exp(-(((v.abs() - wide) / 0.4) ** 2)) * _edge(u.abs() - long / 2, 0.2)
        there = chance.yes(n, 0.08)
        total = total + there * (
            inside * chance.uniform(n, -0.15, 0.35) + rim * chance.uniform(n, -0.2, 0.5)
        )
        factor = factor * (1 - there * inside * chance.uniform(n, 0, 0.5))
    return total, factor


@fused
def printed_things(chance: Chance, x: Tensor, y: Tensor, density: Tensor) -> Tensor:
    """Lay printed targets, grey scales, rulers and crosses over the density; return it."""
    n = len(x)
    for k in range(3):
        u, v = _somewhere(chance, x, y, chance.normal(n, 0.1) + chance.pick(n, (0.0, 0.0, 0.785)))
        size = chance.spread(n, 14, 60)
        there = chance.yes(n, 0.07)
        cell = size / 6
        inside = (u.abs() < size / 2) & (v.abs() < size / 2)
        i, j = torch.floor(u / cell), torch.floor(v / cell)
        rim = torch.maximum(u.abs(), v.abs()) > size / 2 - cell
        black = rim | (share(mix(i, j, chance.whole(n, 0, 1 << 20)), k) < 0.5)
        quiet = (u.abs() < size * 0.66) & (v.abs() < size * 0.66)
        ink = torch.where(inside & black, chance.uniform(n, 1.2, 2.5), torch.zeros_like(u))
        density = torch.where(there & quiet, ink, density)
    u, v = _somewhere(chance, x, y, chance.pick(n, (0.0, 1.5708)) + chance.normal(n, 0.1))
    long, wide = chance.uniform(n, 60, 320), chance.uniform(n, 8, 30)
    inside = (u.abs() < long / 2) & (v.abs() < wide / 2)
    step = chance.pick(n, (1.0, 5.0, 10.0, 1.5875))
    tick = (u - step * torch.round(u / step)).abs() < 0.15 + 0.05 * step
    marks = tick & (v > wide * chance.uniform(n, 0.0, 0.3))
    ink = torch.where(marks, chance.uniform(n, 0.5, 2.0), chance.uniform(n, -0.1, 1.0))
    density = torch.where(inside & chance.yes(n, 0.05), ink, density)
    u, v = _somewhere(chance, x, y, chance.normal(n, 0.1))
    arm = chance.uniform(n, 4, 20)
    cross = torch.minimum(u.abs(), v.abs()) - chance.uniform(n, 0.1, 0.5)
    inside = (u.abs() < arm) & (v.abs() < arm) & chance.yes(n, 0.2)
    return density + inside * _edge(cross, 0.12) * chance.uniform(n, 0.4, 1.8)
