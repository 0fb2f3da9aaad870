"""Families of designs with a rule: lattices, rows, wheels, arcs.

Each takes the coordinates of a group of pictures (n, S, S) in mm and returns labels, int64; lead
runs where labels meet. All measures are drawn for each picture.
"""

from __future__ import annotations

import math

import torch

from training.chance import Chance, Tensor, mix, share
from training.fields import turned


def lattice(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Quarries: squares, rectangles or diamonds of a skewed lattice."""
    n = len(x)
    size = chance.spread(n, 16, 95)
    u, v = turned(x, y, chance.normal(n, 0.05) + chance.yes(n, 0.3) * 0.785)
    slope = chance.spread(n, 0.5, 2.0)
    diamond = chance.yes(n, 0.6)
    a = torch.where(diamond, u + slope * v, u) / size
    b = torch.where(diamond, u - slope * v, v * slope) / size
    cell = mix(torch.floor(a), torch.floor(b))
    # A small insert in the middle or at the corners of some lattices.
    p, q = a - torch.floor(a) - 0.5, b - torch.floor(b) - 0.5
    inner = torch.maximum(p.abs(), q.abs()) < chance.uniform(n, 0.15, 0.35)
    put = chance.yes(n, 0.15) & (share(cell, 3) < chance.uniform(n, 0.2, 1.0)) & (size > 45)
    # Leads that run straight on through the crossings, as bars would.
    every = chance.whole(n, 1, 6)
    through = torch.floor((a - b) / every) * chance.yes(n, 0.2)
    through = through + 1000 * torch.floor((a + b) / every) * chance.yes(n, 0.08)
    cell = torch.where(diamond, mix(cell, through), cell)
    return torch.where(put & inner, mix(cell, 1), cell)


def uneven_grid(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Rectangles whose columns and rows differ in width; some run over two cells."""
    n = len(x)
    a, b = chance.spread(n, 18, 110), chance.spread(n, 18, 110)
    u = x + a * chance.uniform(n, 0, 0.28) * torch.sin(x / a * chance.uniform(n, 0.5, 3.0))
    v = y + b * chance.uniform(n, 0, 0.28) * torch.sin(y / b * chance.uniform(n, 0.5, 3.0))
    i, j = torch.floor(u / a), torch.floor(v / b)
    merged = share(mix(torch.floor(i / 2), j), 5) < chance.uniform(n, 0, 0.35)
    return mix(torch.where(merged, torch.floor(i / 2) * 2 + 1000, i), j)


def bricks(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Rows of bricks, shifted row by row, rows of several heights and lengths."""
    n = len(x)
    h, w = chance.spread(n, 12, 60), chance.spread(n, 20, 140)
    v = y / h + 0.35 * torch.sin(y / h * chance.uniform(n, 0.6, 2.0)) * chance.yes(n, 0.5)
    row = torch.floor(v)
    own = share(mix(row, 7), 1)
    shift = torch.where(chance.yes(n, 0.6), 0.5 * row, own)
    length = torch.where(chance.yes(n, 0.6), torch.ones_like(own), 0.5 + 1.3 * share(row.long(), 2))
    return mix(row, torch.floor(x / w / length + shift))


def split_rectangles(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Rectangles split again and again at places of their own."""
    n = len(x)
    big = chance.spread(n, 90, 320)
    small = chance.spread(n, 14, 50)
    i, j = torch.floor(x / big), torch.floor(y / big)
    label = mix(i, j, 11)
    left, right, low, high = i * big, (i + 1) * big, j * big, (j + 1) * big
    for depth in range(6):
        wide, tall = right - left, high - low
        bias = 0.25 + 0.5 * share(label, 21)
        upright = wide * bias > tall * (1 - bias)
        at = 0.28 + 0.44 * share(label, 22)
        cut_x, cut_y = left + at * wide, low + at * tall
        room = torch.where(
            upright, torch.minimum(at, 1 - at) * wide, torch.minimum(at, 1 - at) * tall
        )
        go = (room > small) & (share(label, 23 + depth) > 0.12)
        over = torch.where(upright, x > cut_x, y > cut_y)
        left = torch.where(go & upright & over, cut_x, left)
        right = torch.where(go & upright & ~over, cut_x, right)
        low = torch.where(go & ~upright & over, cut_y, low)
        high = torch.where(go & ~upright & ~over, cut_y, high)
        label = torch.where(go, mix(label, over.long(), depth), label)
    return label


def wheel(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Wheels and sunbursts: rings and rays about a centre, rings staggered or split anew."""
    n = len(x)
    x, y = x - chance.uniform(n, -150, 150), y - chance.uniform(n, -150, 150)
    r = torch.hypot(x, y)
    rays = chance.whole(n, 5, 25).float()
    step = chance.spread(n, 18, 130)
    power = chance.uniform(n, 0.5, 1.0)
    ring = torch.floor((r / step) ** power)
    turn = torch.atan2(y, x) / (2 * math.pi) + chance.uniform(n, 0, 1)
    stagger = 0.5 * (ring.long() % 2) * chance.yes(n, 0.5)
    more = torch.where(
        chance.yes(n, 0.5), 1.0 + (ring > 1) + (ring > 3) * 2.0, torch.ones_like(ring)
    )
    wavy = chance.sometimes(n, 0.25, 0.02, 0.12) * torch.sin(r / chance.spread(n, 8, 40))
    # Some rings are rows of beads.
    middle = step * (ring + 0.5) ** (1 / power)
    bead = 2 * math.pi * middle / chance.uniform(n, 10, 24)
    beaded = chance.yes(n, 0.3) & (ring.long() % 2 == 1)
    more = torch.where(beaded, (bead / rays).clamp_min(1.0).round(), more)
    ray = torch.floor(((turn + wavy) % 1.0) * rays * more + stagger)
    hub = r < chance.uniform(n, 12, 45)
    return torch.where(hub, mix(ring * 0, 99), mix(ring, ray))


def roundels(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Circles on a lattice, touching or held by straight leads, and the glass between them."""
    n = len(x)
    pitch = chance.spread(n, 26, 110)
    skew = chance.yes(n, 0.5)
    high = torch.where(skew, pitch * 0.866, pitch * chance.uniform(n, 0.9, 1.2))
    row = torch.round(y / high)
    shift = torch.where(skew, 0.5 * (row.long() % 2), torch.zeros_like(row))
    column = torch.round(x / pitch - shift)
    u, v = x - (column + shift) * pitch, y - row * high
    radius = pitch * chance.uniform(n, 0.26, 0.5)
    inside = torch.hypot(u, v) < radius
    cell = mix(row, column)
    # Between the circles the leads run from circle to circle, or half way between the rows.
    sides = mix(torch.floor(x / pitch - shift), torch.floor(y / high))
    halves = mix(torch.floor(x / pitch), torch.floor(y / high + 0.5), 4)
    return torch.where(inside, cell, torch.where(chance.yes(n, 0.6), sides, halves))


def scales(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Overlapping scales: each row of discs covers the next."""
    n = len(x)
    pitch = chance.spread(n, 24, 100)
    high = pitch * chance.uniform(n, 0.35, 0.6)
    radius = pitch * chance.uniform(n, 0.5, 0.62)
    row = torch.floor(y / high)
    label = mix(row * 0, 77)
    found = torch.zeros_like(x, dtype=torch.bool)
    for back in range(-1, 3):
        k = row - back
        shift = 0.5 * (k.long() % 2)
        column = torch.round(x / pitch - shift)
        u, v = x - (column + shift) * pitch, y - k * high
        inside = (torch.hypot(u, v) < radius) & ~found
        split = chance.yes(n, 0.2) & (u > 0)
        label = torch.where(inside, mix(k, column, split.long()), label)
        found |= inside
    return label


def crossing_circles(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Circles on a lattice that cut or touch each other: vesicas, tangent and pointed arches."""
    n = len(x)
    pitch = chance.spread(n, 36, 150)
    high = pitch * torch.where(
        chance.yes(n, 0.5), chance.pick(n, (0.866, 1.0)), chance.uniform(n, 0.7, 1.4)
    )
    radius = pitch * torch.where(
        chance.yes(n, 0.5), chance.pick(n, (0.5, 0.7071, 1.0)), chance.uniform(n, 0.45, 1.05)
    )
    offset = chance.pick(n, (0.0, 0.5))
    row, label = torch.floor(y / high), torch.zeros_like(x, dtype=torch.long)
    for dj in (-1, 0, 1, 2):
        k = row + dj
        shift = offset * (k.long() % 2)
        column = torch.floor(x / pitch - shift)
        for di in (-1, 0, 1, 2):
            c = column + di
            u, v = x - (c + shift) * pitch, y - k * high
            label = label + (torch.hypot(u, v) < radius) * mix(k, c)
    bars = chance.yes(n, 0.25) * mix(row) + chance.yes(n, 0.2) * mix(torch.floor(x / pitch), 5)
    return label + bars


def arcade(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Pointed and round arches side by side, columns between them, panes within."""
    n = len(x)
    wide, tall = chance.spread(n, 45, 190), chance.spread(n, 90, 340)
    i, j = torch.floor(x / wide), torch.floor(y / tall)
    u, v = x - (i + 0.5) * wide, y - j * tall
    column = chance.uniform(n, 0.04, 0.14) * wide
    reach = (0.5 * wide - column).clamp_min(4.0)
    # The arch: two arcs of radius `bow` reaches whose centres lie on the springing line.
    bow = reach * chance.uniform(n, 1.0, 2.6)
    spring = tall * chance.uniform(n, 0.3, 0.6)
    across = u.abs() + (bow - reach)
    rise = (spring - v).clamp_min(0.0)
    out = torch.where(v > spring, u.abs() - reach, torch.hypot(across, rise) - bow)
    frame = chance.sometimes(n, 0.6, 7, 18)
    pane = mix(i, j, torch.floor(v / chance.spread(n, 25, 120)), 1)
    split = chance.yes(n, 0.5) & (u > 0)
    inner = torch.where(split, mix(pane, 2), pane)
    gable = torch.floor((v + u.abs() * chance.uniform(n, 0.6, 2.2)) / chance.spread(n, 20, 70))
    above = mix(i, j, torch.where(chance.yes(n, 0.6), gable, gable * 0), (u > 0).long() + 3)
    post = mix(torch.floor(x / wide + 0.5), torch.floor(y / chance.spread(n, 30, 120)), 9)
    strip = mix(i, j, torch.floor(torch.atan2(rise, u) * chance.uniform(n, 0.8, 3.0)), 8)
    label = torch.where(out < -frame, inner, strip)
    label = torch.where(out > 0, above, label)
    return torch.where((out > 0) & (v > spring * 0.9), post, label)


def straight_lines(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Straight lines across everything, in free directions or in a few."""
    n = len(x)
    label = torch.zeros_like(x, dtype=torch.long)
    few = chance.yes(n, 0.5)
    base = chance.uniform(n, 0, 3.15)
    for k in range(9):
        free = chance.uniform(n, 0, 3.15)
        angle = torch.where(few, base + chance.whole(n, 0, 3) * 1.047, free)
        u, _ = turned(x, y, angle)
        used = chance.yes(n, 0.65)
        label = label + (used & (u > chance.uniform(n, -150, 150))) * (mix(used * 0, k + 31))
    return label


def rosette(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Squares, triangles or petals turned about one centre and laid over each other."""
    n = len(x)
    x, y = x - chance.uniform(n, -110, 110), y - chance.uniform(n, -110, 110)
    size, count = chance.spread(n, 40, 150), chance.whole(n, 2, 7)
    corners = chance.whole(n, 3, 6).float()
    petals = chance.yes(n, 0.5)
    label = torch.zeros_like(x, dtype=torch.long)
    for k in range(6):
        angle = 2 * math.pi * k / (count * torch.where(petals, torch.ones_like(corners), corners))
        u, v = turned(x, y, angle)
        turn = torch.atan2(v, u)
        sector = 2 * math.pi / corners
        part = torch.remainder(turn, sector) - sector / 2
        polygon = torch.hypot(u, v) * torch.cos(part) < size
        reach = size * 0.9
        bow = reach * 0.5 / chance.uniform(n, 0.3, 0.8)
        petal = torch.hypot(u - reach / 2, v.abs() + bow * 0.8) < bow * 1.02
        inside = torch.where(petals, petal, polygon) & (k < count)
        label = label + inside * mix(inside * 0, k + 51)
    core = torch.hypot(x, y) < size * chance.sometimes(n, 0.6, 0.15, 0.35)
    return torch.where(core, mix(label * 0, 5), label)


def tiles(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Hexagons, triangles, octagons with squares, chevrons, basket weave."""
    n = len(x)
    size = chance.spread(n, 22, 80)
    u, v = x / size, y / size
    kind = chance.whole(n, 0, 5)
    # Hexagons: the nearer of two interleaved rectangular lattices.
    a = torch.stack((torch.round(u), torch.round(v / 1.732)))
    b = torch.stack((torch.floor(u) + 0.5, torch.floor(v / 1.732) + 0.5))
    far_a = (u - a[0]) ** 2 + (v - a[1] * 1.732) ** 2
    far_b = (u - b[0]) ** 2 + (v - b[1] * 1.732) ** 2
    hexagon = torch.where(far_a < far_b, mix(a[0], a[1]), mix(b[0] * 2, b[1] * 2, 3))
    triangle = mix(torch.floor(v), torch.floor(u + 0.577 * v), torch.floor(u - 0.577 * v))
    i, j = torch.round(u), torch.round(v)
    small = (u - i).abs() + (v - j).abs() < chance.uniform(n, 0.2, 0.42)
    octagon = torch.where(small, mix(i, j, 1), mix(torch.floor(u), torch.floor(v)))
    zigzag = (u - 2 * torch.floor(u / 2) - 1).abs()
    chevron = mix(torch.floor(v + zigzag * chance.uniform(n, 0.3, 1.2)), torch.floor(u))
    ii, jj = torch.floor(u / 2), torch.floor(v / 2)
    lying = (ii + jj).long() % 2 == 0
    strip = torch.where(lying, torch.floor((v - 2 * jj) * 1.5), torch.floor((u - 2 * ii) * 1.5))
    weave = mix(ii, jj, strip)
    out = torch.where(kind == 0, hexagon, triangle)
    out = torch.where(kind == 2, octagon, out)
    out = torch.where(kind == 3, chevron, out)
    return torch.where(kind == 4, weave, out)


def beads(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Rows of tiny squares, discs or lozenges between rows of larger panes."""
    n = len(x)
    x, y = turned(x, y, chance.pick(n, (0.0, 1.5708)))
    tall, bead = chance.spread(n, 24, 150), chance.spread(n, 7, 24)
    row = torch.floor(y / tall)
    v = y - row * tall
    i = torch.floor(x / bead)
    u = x - (i + 0.5) * bead
    w = v - 0.5 * bead
    disc = torch.hypot(u, w) < bead * chance.uniform(n, 0.38, 0.5)
    lozenge = u.abs() + w.abs() < bead * 0.5
    shape = torch.where(chance.yes(n, 0.5), disc, lozenge) & chance.yes(n, 0.5)
    small = torch.where(
        shape, mix(i, row, 1), mix(torch.where(chance.yes(n, 0.6), i, i * 0), row, 2)
    )
    pane = mix(torch.floor(x / chance.spread(n, 30, 160)), row, 3)
    return torch.where(v < bead, small, pane)


def pencils(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Bands that run together: circles through two points, or touching in one; needles of a fan."""
    n = len(x)
    pitch = chance.spread(n, 70, 400)
    tall = pitch * chance.uniform(n, 0.6, 1.6)
    x, y = turned(x, y, chance.pick(n, (0.0, 1.5708, 0.785)) + chance.normal(n, 0.05))
    i, j = torch.round(x / pitch), torch.round(y / tall)
    u, v = x - i * pitch, y - j * tall
    v = torch.where(chance.yes(n, 0.5) & (i.long() % 2 == 0), -v, v)
    r2 = (u * u + v * v).clamp_min(1e-3)
    start = chance.uniform(n, 0, 1)
    # All circles pass through two points; bands meet there at the angle of a step.
    reach = pitch * chance.uniform(n, 0.2, 0.5)
    step = chance.spread(n, 0.12, 0.9)
    seen = torch.atan2(2 * reach * v, r2 - reach * reach)
    through = torch.floor(seen / step + start)
    # All circles touch the same line in one point.
    grow = chance.uniform(n, 1.0, 3.5)
    touching = torch.floor(torch.log(r2 / (2 * v.abs()).clamp_min(0.1)) * grow + start)
    touching = touching * 2 + (v > 0)
    rays = torch.round(chance.spread(n, 8, 45))
    bent = chance.sometimes(n, 0.5, -0.8, 0.8) * torch.sqrt(r2) / pitch
    needle = torch.floor((torch.atan2(v, u) / (2 * math.pi) + bent) % 1.0 * rays + start)
    needle = torch.remainder(needle, rays)
    cut = torch.floor(torch.sqrt(r2) / chance.spread(n, 30, 250) + share(needle.long(), 3))
    cross = torch.floor(u / chance.spread(n, 25, 300)) * chance.yes(n, 0.6)
    kinds = torch.stack(
        (mix(through, cross, 1), mix(touching, cross, 2), mix(needle, cut * chance.yes(n, 0.7), 3))
    )
    kind = chance.whole(n, 0, len(kinds))
    label = kinds.gather(0, kind[None].expand(1, *x.shape))[0]
    hub = torch.sqrt(r2) < chance.sometimes(n, 0.4, 6, 30)
    return mix(torch.where(hub, mix(i, j, 5), label), i, j)


def thin_wedges(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Lines and wide arcs that cross at small angles, in two bundles."""
    n = len(x)
    label = torch.zeros_like(x, dtype=torch.long)
    base, spread = chance.uniform(n, 0, 3.15), chance.spread(n, 0.05, 0.35)
    for k in range(9):
        lean = base + spread * chance.normal(n) + 1.5708 * (k % 4 == 3)
        u, v = turned(x, y, lean)
        bow = chance.sometimes(n, 0.4, -0.0015, 0.0015)
        used = chance.yes(n, 0.6)
        side = u + bow * v * v > chance.uniform(n, -130, 130)
        label = label + (used & side) * mix(used * 0, k + 41)
    return label


REGULAR = (
    lattice,
    lattice,
    uneven_grid,
    bricks,
    split_rectangles,
    split_rectangles,
    wheel,
    roundels,
    scales,
    crossing_circles,
    crossing_circles,
    arcade,
    arcade,
    straight_lines,
    rosette,
    tiles,
    beads,
    beads,
    beads,
    pencils,
    pencils,
    thin_wedges,
)
