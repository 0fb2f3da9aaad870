"""Leads of a design: how far the nearest lead line is, how wide it is, and where leads meet.

Legend: n pictures, S = SIDE cells a side of `CELL_MM`; F = 2 S cells of the labels.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch

from training.chance import Chance, Tensor, fused, mix, share
from training.design import OUTSIDE, STIFF, draw_labels
from training.fields import CELL_MM, SIDE, blurred, grid

NARROWEST_GLASS_MM = 1.5
"""A piece whose widest visible place is narrower (half width) is no piece; its ground takes it."""


@dataclass(slots=True)
class Leads:
    """All that the physics needs to know of a design; every tensor (n, S, S).

    Attributes
    ----------
    line_mm : distance to the nearest lead line, true to a few mm; lines run on under leaves.
    away_mm : distance to the line of the lead whose edge is nearest.
    half_mm : half the face width of that lead.
    normal_x, normal_y : unit vector from the lead line to the cell.
    lead : hash of that lead (the pair of pieces it parts), int64.
    side : -1 or 1, which of its two sides.
    piece : hash of the piece, int64; 0 outside.
    joint_mm, solder_mm : distance to the nearest joint, and the radius of its solder.
    border : whether the nearest lead is the border.
    """

    line_mm: Tensor
    away_mm: Tensor
    half_mm: Tensor
    normal_x: Tensor
    normal_y: Tensor
    lead: Tensor
    side: Tensor
    piece: Tensor
    joint_mm: Tensor
    solder_mm: Tensor
    border: Tensor

    def take(self, rows: Tensor) -> Leads:
        """Return the pictures at `rows`."""
        return Leads(*(getattr(self, name)[rows] for name in self.__slots__))

    def put(self, rows: Tensor, other: Leads) -> None:
        """Replace the pictures at `rows`."""
        for name in self.__slots__:
            getattr(self, name)[rows] = getattr(other, name)


def draw_leads(chance: Chance, n: int) -> Leads:
    """Draw `n` designs and their leads."""
    label, zone = draw_labels(chance, n)
    widths = _widths(chance, n)
    label = _without_slivers(label, zone, widths)
    x, y = grid(n, SIDE, CELL_MM, chance.device)
    seeds = _seeds(label, zone, widths, x, y)
    line = _line(seeds, x, y)
    half, near_x, near_y, pair, _ = _nearest(seeds, x, y)
    joint_mm, solder = _joints(chance, label, half, x, y)
    piece = label[:, ::2, ::2].contiguous()
    dx, dy = x - near_x, y - near_y
    away = torch.hypot(dx, dy)
    border = (pair & 1).bool()
    _free_leads(chance, x, y, line, away, half, dx, dy, pair, piece)
    size = torch.hypot(dx, dy).clamp_min(1e-3)
    # Which side a cell lies on: its piece against the hash of the lead, the same all along it.
    side = torch.where(((piece ^ pair) & 2) == 0, 1.0, -1.0)
    return Leads(
        line, away, half, dx / size, dy / size, pair, side, piece, joint_mm, solder, border
    )


@dataclass(slots=True)
class Widths:
    """Face widths of a design, (n, 1, 1) mm: of its zones, of the border, and how they stray.

    `thick` is the width of single leads that stiffen a panel, `many` the share of such leads.
    """

    zones: Tensor
    border: Tensor
    stray: Tensor
    thick: Tensor
    many: Tensor


def _widths(chance: Chance, n: int) -> Widths:
    main = torch.where(chance.yes(n, 0.35), chance.spread(n, 2.6, 4.2), chance.spread(n, 3.2, 9.5))
    main = torch.where(chance.yes(n, 0.06), chance.uniform(n, 9.0, 18.0), main)
    other = torch.where(chance.yes(n, 0.5), main, chance.spread(n, 3.2, 18.0))
    third = torch.where(chance.yes(n, 0.5), main, chance.spread(n, 3.2, 14.0))
    strip = torch.where(chance.yes(n, 0.55), main, chance.spread(n, 3.5, 20.0))
    border = torch.where(chance.yes(n, 0.3), main, chance.spread(n, 4.5, 22.0))
    border = torch.where(chance.yes(n, 0.15), chance.uniform(n, 11.0, 22.0), border)
    zones = torch.stack((main, other, third, strip, border))
    stray = chance.sometimes(n, 0.25, 0.05, 0.35)
    many = chance.sometimes(n, 0.1, 0.02, 0.2)
    return Widths(zones, border, stray, chance.uniform(n, 8.0, 21.0), many)


def _half_of(a: Tensor, b: Tensor, zone_a: Tensor, zone_b: Tensor, widths: Widths) -> Tensor:
    """Return half the width of the lead between two labels."""
    stiff = (zone_a ^ zone_b) & STIFF != 0
    zone = torch.maximum(zone_a % STIFF, zone_b % STIFF)
    table = widths.zones[:, :, 0, 0]
    rows = torch.arange(len(a), device=a.device)[:, None, None].expand_as(zone)
    wide = table[zone, rows]
    lead = _pair(a, b)
    odd = share(lead, 17) < 0.15
    strayed = wide * (1 + widths.stray * (share(lead, 18) - 0.5) * 2 * odd)
    strayed = torch.where(stiff | (share(lead, 19) < widths.many), widths.thick, strayed)
    return 0.5 * torch.where((a == OUTSIDE) | (b == OUTSIDE), widths.border, strayed)


def _pair(a: Tensor, b: Tensor) -> Tensor:
    """Return the hash of the lead between two labels; it is odd along the border."""
    border = (a == OUTSIDE) | (b == OUTSIDE)
    return (mix(torch.minimum(a, b), torch.maximum(a, b)) & ~1) | border.long()


Seeds = tuple[Tensor, Tensor, Tensor, Tensor]
"""Of every coarse cell: half the width of the lead (-1 where none), x and y of its line, pair."""


@fused
def _seeds(label: Tensor, zone: Tensor, widths: Widths, x: Tensor, y: Tensor) -> Seeds:
    """Return the lead line inside every coarse cell."""
    half = torch.full_like(x, -1.0)
    at_x, at_y = x.clone(), y.clone()
    pair = torch.zeros_like(label[:, ::2, ::2])
    q = CELL_MM / 4
    right, down = _shifted(label, 1, 2), _shifted(label, 1, 1)
    zone_right, zone_down = _shifted(zone, 1, 2), _shifted(zone, 1, 1)
    # Outer cracks first, so that a crack through the middle of the cell has the last word.
    for r, c, to, other_zone, dx, dy in (
        (0, 1, right, zone_right, 2 * q, -q),
        (1, 1, right, zone_right, 2 * q, q),
        (1, 0, down, zone_down, -q, 2 * q),
        (1, 1, down, zone_down, q, 2 * q),
        (0, 0, right, zone_right, 0.0, -q),
        (1, 0, right, zone_right, 0.0, q),
        (0, 0, down, zone_down, -q, 0.0),
        (0, 1, down, zone_down, q, 0.0),
    ):
        a, b = label[:, r::2, c::2], to[:, r::2, c::2]
        crack = a != b
        h = _half_of(a, b, zone[:, r::2, c::2], other_zone[:, r::2, c::2], widths)
        half = torch.where(crack, h, half)
        at_x, at_y = torch.where(crack, x + dx, at_x), torch.where(crack, y + dy, at_y)
        pair = torch.where(crack, _pair(a, b), pair)
    return half, at_x, at_y, pair


def _shifted(t: Tensor, by: int, dim: int) -> Tensor:
    """Return the neighbour `by` cells on; at the edge a cell is its own neighbour."""
    rolled = torch.roll(t, -by, dim)
    edge = [slice(None)] * 3
    edge[dim] = slice(-by, None)
    rolled[tuple(edge)] = t[tuple(edge)]
    return rolled


def _nearest(seeds: Seeds, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Flood the seeds outward: half width, x, y, pair of the lead whose edge is nearest, its reach.

    Strategy: jump flooding. Every cell compares its candidate with those of eight cells `step`
    away, step falling from 64 to 1; twice 1 at the end mends what the jumps missed.
    """
    half, at_x, at_y, pair = seeds
    best = torch.where(half > 0, torch.hypot(x - at_x, y - at_y) - half, torch.full_like(x, 1e6))
    for step in (64, 32, 16, 8, 4, 2, 1, 1):
        far = torch.tensor(step, device=x.device)
        half, at_x, at_y, pair, best = _jumped(half, at_x, at_y, pair, best, x, y, far)
    none = best > 1e5
    half = torch.where(none, torch.full_like(half, 2.5), half)
    return half, torch.where(none, x + 150, at_x), torch.where(none, y, at_y), pair, best


@fused
def _jumped(
    half: Tensor,
    at_x: Tensor,
    at_y: Tensor,
    pair: Tensor,
    best: Tensor,
    x: Tensor,
    y: Tensor,
    step: Tensor,
) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Let every cell take the best lead that it or a cell `step` away knows."""
    was = (half, at_x, at_y, pair, best)
    for dy, dx in _AROUND:
        h, px, py, k, known = (_moved(t, dy * step, dx * step) for t in was)
        far = torch.hypot(x - px, y - py) - h
        better = (known < 1e5) & (far < best)
        half = torch.where(better, h, half)
        at_x, at_y = torch.where(better, px, at_x), torch.where(better, py, at_y)
        pair, best = torch.where(better, k, pair), torch.where(better, far, best)
    return half, at_x, at_y, pair, best


_AROUND = tuple((dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if dy or dx)


def _line(seeds: Seeds, x: Tensor, y: Tensor) -> Tensor:
    """Return the distance to the nearest lead line, whatever leaf covers it; beyond 4 mm more."""
    there = seeds[0] > 0
    at_x = torch.where(there, seeds[1], torch.full_like(x, 1e5))
    at_y = torch.where(there, seeds[2], torch.full_like(y, 1e5))
    for step in (4, 2, 1, 1, 1):
        far = torch.tensor(step, device=x.device)
        at_x, at_y = _nearer(at_x, at_y, x, y, far)
    return torch.hypot(x - at_x, y - at_y).clamp_max(200.0)


@fused
def _nearer(
    at_x: Tensor, at_y: Tensor, x: Tensor, y: Tensor, step: Tensor
) -> tuple[Tensor, Tensor]:
    """Let every cell take the nearest place that it or one of four cells `step` away knows."""
    was_x, was_y = at_x, at_y
    for dy, dx in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        px, py = _moved(was_x, dy * step, dx * step), _moved(was_y, dy * step, dx * step)
        better = (x - px) ** 2 + (y - py) ** 2 < (x - at_x) ** 2 + (y - at_y) ** 2
        at_x, at_y = torch.where(better, px, at_x), torch.where(better, py, at_y)
    return at_x, at_y


def _moved(t: Tensor, dy: Tensor | int, dx: Tensor | int) -> Tensor:
    """Return the value `dy` rows and `dx` columns on; at the edge what lies there."""
    h, w = t.shape[1:]
    rows = (torch.arange(h, device=t.device) + dy).clamp(0, h - 1)
    columns = (torch.arange(w, device=t.device) + dx).clamp(0, w - 1)
    return t[:, rows][:, :, columns]


def _without_slivers(label: Tensor, zone: Tensor, widths: Widths) -> Tensor:
    """Give pieces that no glazier would cut to the pieces around them."""
    x, y = grid(len(label), SIDE, CELL_MM, str(label.device))
    edge = _nearest(_seeds(label, zone, widths, x, y), x, y)[4]
    n = len(label)
    coarse = label[:, ::2, ::2]
    own = mix(coarse, torch.arange(n, device=label.device)[:, None, None])
    _, index = torch.unique(own, return_inverse=True)
    count = int(index.max()) + 1
    widest = torch.full((count,), -1e6, device=label.device)
    widest = widest.scatter_reduce(0, index.flatten(), edge.flatten(), "amax")
    keep = (widest[index] > NARROWEST_GLASS_MM) | (coarse == OUTSIDE)
    fine_keep = keep.repeat_interleave(2, 1).repeat_interleave(2, 2)
    fine_keep &= label == coarse.repeat_interleave(2, 1).repeat_interleave(2, 2)
    return _filled(label, fine_keep)


def _filled(label: Tensor, keep: Tensor) -> Tensor:
    """Give every cell that is not kept the label of the nearest kept piece (jump flooding).

    The outside stays where it is and takes no piece.
    """
    n, side = len(label), label.shape[1]
    x, y = grid(n, side, 1.0, str(label.device))
    outside = label == OUTSIDE
    keep = keep & ~outside
    from_x = torch.where(keep, x, torch.full_like(x, 1e6))
    from_y = torch.where(keep, y, torch.full_like(y, 1e6))
    for step in (32, 16, 8, 4, 2, 1, 1):
        far = torch.tensor(step, device=label.device)
        from_x, from_y = _nearer(from_x, from_y, x, y, far)
    row, column = (from_y - y[:, :1, :1]).long(), (from_x - x[:, :1, :1]).long()
    there = from_x < 1e5
    index = torch.where(there, row * side + column, torch.zeros_like(row))
    taken = label.flatten(1).gather(1, index.flatten(1)).reshape(label.shape)
    return torch.where(there & ~outside, taken, label)


def _joints(
    chance: Chance, label: Tensor, half: Tensor, x: Tensor, y: Tensor
) -> tuple[Tensor, Tensor]:
    """Return the distance to the nearest joint and the radius of the solder there, mm."""
    n = len(label)
    a, b = label[:, 0::2, 0::2], label[:, 1::2, 0::2]
    c, d = label[:, 0::2, 1::2], label[:, 1::2, 1::2]
    e, f = _moved(a, 1, 0), _moved(a, 0, 1)
    kinds = torch.stack((a, b, c, d, e, f))
    first = kinds.sort(dim=0).values
    met = (first[1:] != first[:-1]).sum(dim=0) >= 2
    x_at = torch.where(met, x, torch.full_like(x, 1e5))
    y_at = torch.where(met, y, torch.full_like(y, 1e5))
    for step in (32, 16, 8, 4, 2, 1, 1):
        x_at, y_at = _nearer(x_at, y_at, x, y, torch.tensor(step, device=x.device))
    far = torch.hypot(x - x_at, y - y_at).clamp_max(200.0)
    # One joint gives several cells; on a grid of 3 mm they mostly share a draw.
    where = mix(torch.round(x_at / 3), torch.round(y_at / 3), chance.whole(n, 0, 1 << 30))
    wide = 2 * half.clamp_max(8.0)
    radius = wide * (chance.uniform(n, 0.4, 0.7) + chance.uniform(n, 0.1, 0.8) * share(where, 5))
    bare = share(where, 6) < chance.uniform(n, 0, 0.3)
    return far, torch.where(bare, radius * 0.3, radius)


def _free_leads(
    chance: Chance,
    x: Tensor,
    y: Tensor,
    line: Tensor,
    away: Tensor,
    half: Tensor,
    dx: Tensor,
    dy: Tensor,
    pair: Tensor,
    piece: Tensor,
) -> None:
    """Add leads over cracks that end freely inside a piece, in place.

    Each is a bow of `steps` straight parts; it shows only in the piece where it begins.
    """
    n = len(x)
    for k in range(3):
        rows = chance.yes(n, 0.12).flatten().nonzero().flatten()
        if not len(rows):
            continue
        m = len(rows)
        length, angle = chance.spread(m, 15, 90), chance.uniform(m, 0, 6.3)
        bow = chance.normal(m, 0.012)
        px, py = chance.uniform(m, -110, 110), chance.uniform(m, -110, 110)
        wide = 0.5 * chance.spread(m, 3.2, 7.0)
        row = ((py / CELL_MM + SIDE / 2).long()).clamp(0, SIDE - 1)
        column = ((px / CELL_MM + SIDE / 2).long()).clamp(0, SIDE - 1)
        own = piece[rows][torch.arange(m, device=x.device), row.flatten(), column.flatten()]
        inside = (piece[rows] == own[:, None, None]) & (own != OUTSIDE)[:, None, None]
        for _ in range(12):
            step = length / 12
            qx, qy = px + step * torch.cos(angle), py + step * torch.sin(angle)
            ux, uy = x[rows] - px, y[rows] - py
            t = ((ux * (qx - px) + uy * (qy - py)) / step**2).clamp(0, 1)
            ex, ey = ux - t * (qx - px), uy - t * (qy - py)
            far = torch.hypot(ex, ey)
            line[rows] = torch.where(inside, torch.minimum(line[rows], far), line[rows])
            new = inside & (far - wide < away[rows] - half[rows])
            for old, value in ((away, far), (dx, ex), (dy, ey), (half, wide.expand_as(far))):
                old[rows] = torch.where(new, value, old[rows])
            pair[rows] = torch.where(new, mix(piece[rows] * 0, 5001 + k) & ~1, pair[rows])
            px, py, angle = qx, qy, angle + bow * step


@fused
def direction(leads: Leads) -> tuple[Tensor, Tensor]:
    """Return cos 2t and sin 2t of the direction t in which the nearest lead runs, smoothed."""
    weight = leads.away_mm.clamp_max(1.0) * torch.exp(-leads.away_mm / 4)
    c = (leads.normal_y**2 - leads.normal_x**2) * weight
    s = -2 * leads.normal_x * leads.normal_y * weight
    sigma = torch.full((len(c), 1, 1), 1.5, device=c.device)
    c, s = blurred(c, sigma, 1.5), blurred(s, sigma, 1.5)
    size = torch.hypot(c, s).clamp_min(1e-6)
    return c / size, s / size
