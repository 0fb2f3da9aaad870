"""A part of a leaded panel as labels: which piece of glass, or the outside, every cell belongs to.

A design is built as a glazier would: the outline of the panel, borders along it, one or two fields
inside, medallions laid over them, cracks that were mended with lead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import torch

from training.chance import Chance, Tensor, mix, share
from training.families import REGULAR
from training.families_free import FREE
from training.fields import CELL_MM, SIDE, grid, patches, turned

OUTSIDE = 0
STIFF = 8
"""Added to the zones of every other row between broad leads."""
Family = Callable[[Chance, Tensor, Tensor], Tensor]


def draw_labels(chance: Chance, n: int) -> tuple[Tensor, Tensor]:
    """Return labels and zones of `n` designs, int64 (n, 2 SIDE, 2 SIDE), cells of a quarter mm.

    A zone is a part of the design with a lead of its own; label 0 is outside the panel. Where
    `STIFF` is in one of two zones only, a broad lead parts them.
    """
    x, y = grid(n, 2 * SIDE, CELL_MM / 2, chance.device)
    x, y = _placed(chance, x, y)
    inner_x, inner_y = _hand(chance, x, y)
    label = _fields(chance, inner_x, inner_y, REGULAR + FREE)
    zone = torch.zeros_like(label)
    label, zone = _second_field(chance, inner_x, inner_y, label, zone)
    for k in range(2):
        label, zone = _medallion(chance, inner_x, inner_y, label, zone, k)
    label = _mended(chance, x, y, label)
    label, zone = _stiffened(chance, inner_x, inner_y, label, zone)
    return _framed(chance, x, y, label, zone)


def _placed(chance: Chance, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """Turn and scale the picture a little, and shift two joined papers against each other."""
    n = len(x)
    angle = torch.where(chance.yes(n, 0.75), chance.normal(n, 0.02), chance.uniform(n, 0, 6.3))
    scale = 1.0 + chance.uniform(n, -0.06, 0.06)
    u, v = turned(x * scale, y * scale, angle)
    joined = chance.yes(n, 0.1)
    seam, _ = turned(x - chance.uniform(n, -70, 70), y, chance.pick(n, (0.0, 1.5708)))
    off = joined * (seam > 0)
    slip = chance.spread(n, 0.6, 2.5)
    return u + off * slip * chance.normal(n), v + off * slip * chance.normal(n)


def _hand(chance: Chance, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """Let leads wander, as they do when bent by hand, and some designs swing in whole."""
    n = len(x)
    small, size = chance.uniform(n, 0.05, 0.45), chance.spread(n, 50, 220)
    big = chance.sometimes(n, 0.3, 2.0, 14.0)
    wide = chance.spread(n, 90, 260)
    dx = small * patches(chance, x, y, size) + big * patches(chance, x, y, wide)
    dy = small * patches(chance, x, y, size) + big * patches(chance, x, y, wide)
    return x + dx, y + dy


def _fields(chance: Chance, x: Tensor, y: Tensor, families: Sequence[Family]) -> Tensor:
    """Return labels, each picture of a family drawn for it."""
    n = len(x)
    which = chance.whole(n, 0, len(families)).flatten().tolist()
    label = torch.zeros_like(x, dtype=torch.long)
    for kind in sorted(set(which)):
        rows = torch.tensor([k for k in range(n) if which[k] == kind], device=x.device)
        dx, dy = (chance.uniform(len(rows), -200, 200) for _ in range(2))
        about = kind in _CENTRED
        dx, dy = (dx * 0, dy * 0) if about else (dx, dy)
        label[rows] = mix(families[kind](chance, x[rows] + dx, y[rows] + dy), kind + 1)
    return label


_CENTRED = frozenset(
    k for k, f in enumerate(REGULAR + FREE) if f.__name__ in ("straight_lines", "rosette", "plain")
)


def _second_field(
    chance: Chance, x: Tensor, y: Tensor, label: Tensor, zone: Tensor
) -> tuple[Tensor, Tensor]:
    """Put another family into a part of some designs, beyond a line or inside strips."""
    chosen = chance.yes(len(x), 0.35).flatten().nonzero().flatten()
    if not len(chosen):
        return label, zone
    n = len(chosen)
    u, v = x[chosen], y[chosen]
    p, q = turned(u - chance.uniform(n, -110, 110), v, chance.pick(n, (0.0, 1.5708, 0.6, -0.6)))
    q = q + chance.uniform(n, 0, 40) * torch.sin(p / 40) * chance.yes(n, 0.3)
    strips = torch.floor(p / chance.spread(n, 60, 200)).long() % 2 == 0
    there = torch.where(chance.yes(n, 0.5), p > 0, strips)
    other = mix(_fields(chance, u, v, REGULAR + FREE), 1001)
    label[chosen] = torch.where(there, other, label[chosen])
    zone[chosen] = torch.where(there, 1, zone[chosen])
    return label, zone


def _medallion(
    chance: Chance, x: Tensor, y: Tensor, label: Tensor, zone: Tensor, k: int
) -> tuple[Tensor, Tensor]:
    """Lay a shape with a frame over some designs, plain inside or with a field of its own."""
    chosen = chance.yes(len(x), 0.3).flatten().nonzero().flatten()
    if not len(chosen):
        return label, zone
    n = len(chosen)
    u = x[chosen] - chance.uniform(n, -110, 110)
    v = y[chosen] - chance.uniform(n, -110, 110)
    far = _shape(chance, u, v, chance.spread(n, 22, 130))
    wide = chance.uniform(n, 6, 24)
    framed = chance.yes(n, 0.6)
    few = chance.whole(n, 1, 13)
    many = torch.round(350 / chance.spread(n, 10, 60)).long()
    tie = torch.floor(
        torch.atan2(v, u) / (2 * math.pi) * torch.where(chance.yes(n, 0.6), few, many)
    )
    strip = framed & (far > -wide) & (far <= 0)
    inner = mix(_fields(chance, u, v, REGULAR + FREE), k + 2001)
    inner = torch.where(chance.yes(n, 0.35), mix(tie * 0, k + 2003), inner)
    here = torch.where(strip, mix(tie, k + 2002), inner)
    label[chosen] = torch.where(far <= 0, here, label[chosen])
    zone[chosen] = torch.where(far <= 0, 2, zone[chosen])
    return label, zone


def _shape(chance: Chance, x: Tensor, y: Tensor, size: Tensor) -> Tensor:
    """Return the distance to a shape, negative inside: disc, lozenge, foils, shield and others."""
    n = len(x)
    u, v = turned(x, y, chance.normal(n, 0.03) + chance.yes(n, 0.15) * chance.uniform(n, 0, 6.3))
    v = v * torch.where(chance.yes(n, 0.5), 1.0, chance.uniform(n, 0.6, 1.5))
    disc = torch.hypot(u, v) - size
    lozenge = (u.abs() + v.abs()) * 0.7071 - size * 0.8
    box = torch.maximum(u.abs(), v.abs()) - size
    lobes = chance.whole(n, 3, 9).float()
    turn = torch.atan2(v, u)
    sector = 2 * math.pi / lobes
    part = torch.remainder(turn, sector) - sector / 2
    r = torch.hypot(u, v)
    foil = torch.hypot(r * torch.cos(part) - size * 0.55, r * torch.sin(part)) - size * 0.45
    star = r * torch.cos(part) * (1 + 0.5 * part.abs()) - size * 0.7
    bow = size * chance.uniform(n, 1.05, 2.0)
    vesica = torch.hypot(u.abs() + bow - size * 0.6, v) - bow
    shield = torch.where(v > 0, torch.hypot(u.abs() + size * 0.5, v) - size * 1.3, box * 0 + 1e3)
    shield = torch.where(v > 0, shield, torch.maximum(u.abs() - size * 0.8, -v - size * 0.8))
    shapes = torch.stack((disc, disc, lozenge, box, foil, star, vesica, shield))
    kind = chance.whole(n, 0, len(shapes))
    return shapes.gather(0, kind[None].expand(1, *x.shape))[0]


def _mended(chance: Chance, x: Tensor, y: Tensor, label: Tensor) -> Tensor:
    """Part some pieces along a crack, as mending leads do."""
    n = len(x)
    for k in range(3):
        u, v = turned(
            x - chance.uniform(n, -100, 100),
            y - chance.uniform(n, -100, 100),
            chance.uniform(n, 0, 6.3),
        )
        bend = chance.normal(n, 8) * torch.sin(u / chance.spread(n, 20, 90))
        near = (u.abs() < chance.uniform(n, 15, 70)) & chance.yes(n, 0.1)
        piece = share(label, 90 + k) < 0.6
        label = torch.where(near & piece & (v + bend > 0), mix(label, k + 3001), label)
    return label


def _stiffened(
    chance: Chance, x: Tensor, y: Tensor, label: Tensor, zone: Tensor
) -> tuple[Tensor, Tensor]:
    """Lay rows of broad leads straight across some designs, where bars are tied to them."""
    n = len(x)
    _, v = turned(x, y, chance.pick(n, (0.0, 0.0, 0.0, 1.5708)) + chance.normal(n, 0.02))
    row = torch.floor((v - chance.uniform(n, -200, 200)) / chance.spread(n, 60, 400)).long()
    there = chance.yes(n, 0.33)
    label = torch.where(there, mix(label, row), label)
    return label, torch.where(there, zone + STIFF * (row & 1), zone)


def _framed(
    chance: Chance, x: Tensor, y: Tensor, label: Tensor, zone: Tensor
) -> tuple[Tensor, Tensor]:
    """Cut the design off at the panel's outline and lay strips of border along it.

    A few small panels hold a single piece: a frame and nothing in it.
    """
    n = len(x)
    small = chance.yes(n, 0.08)
    single = small & chance.yes(n, 0.25)
    label, zone = torch.where(single, 1, label), torch.where(single, 0, zone)
    wide, tall = (
        torch.where(small, chance.spread(n, 35, 160), chance.spread(n, 160, 1000)) for _ in range(2)
    )
    # The crop lies anywhere on the panel, often on its edge.
    u = x + 0.42 * wide * chance.uniform(n, -1, 1)
    v = y + 0.42 * tall * chance.uniform(n, -1, 1)
    box = torch.maximum(u.abs() - wide / 2, v.abs() - tall / 2)
    bow = wide * torch.where(chance.yes(n, 0.5), 0.5, chance.uniform(n, 0.5, 1.2))
    rise = (-v - tall / 2 + wide * 0.6).clamp_min(0.0)
    arch = torch.hypot(u.abs() + bow - wide / 2, rise) - bow
    arched = torch.maximum(torch.where(rise > 0, arch, u.abs() - wide / 2), v - tall / 2)
    r = torch.hypot(u, v)
    disc = r - wide / 2
    far = torch.where(chance.yes(n, 0.2), arched, box)
    far = torch.where(chance.yes(n, 0.07), disc, far)
    far = far + chance.uniform(n, 0, 0.4) * patches(chance, x, y, chance.spread(n, 60, 250))
    depth = torch.zeros_like(wide)
    side = torch.where(u.abs() - wide / 2 > v.abs() - tall / 2, v, u)
    for k in range(3):
        on = chance.yes(n, (0.45, 0.3, 0.2)[k]) & ~single
        strip = on * torch.where(
            chance.yes(n, 0.7), chance.uniform(n, 7, 24), chance.uniform(n, 24, 60)
        )
        here = (far > -(depth + strip)) & (far <= -depth)
        pitch = torch.where(chance.yes(n, 0.5), chance.spread(n, 25, 260), chance.spread(n, 7, 25))
        ties = torch.floor(side / pitch + share(zone * 0 + k, 8))
        mitre = (u > 0).long() + 2 * (v > 0).long()
        piece = mix(torch.where(chance.yes(n, 0.75), ties, ties * 0), mitre, k + 4001)
        label = torch.where(here, piece, label)
        zone = torch.where(here, 3, zone)
        depth = depth + strip
    outside = far > 0
    label = torch.where(outside, OUTSIDE, label)
    return label, torch.where(outside, 4, zone)
