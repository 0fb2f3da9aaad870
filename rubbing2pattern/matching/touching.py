"""Pieces of glass that touch: separated where two notches of a common outline face each other.

Legend for shapes: H, W rows and columns of the working picture; N places along an outline.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.ground import Mask, Working, disc
from rubbing2pattern.matching.settling import even_ring
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grid

_STEP_MM = 0.5
"""Step along an outline in which notches are looked for."""
_ARM_MM = 2.5
"""Length on either side over which the turn at a notch is taken."""
_SMOOTH_MM = 0.6
"""Over what length an outline is smoothed first: chips go."""
_WING_MM = 8.0
"""Length on either side over which the depth of a notch is taken."""
_BESIDE_MM = 0.8
"""How far beside a neck steps are looked for: a seam is not quite straight."""
_SPARED_MM = 2.0
"""Rim of a piece that does not count for the steps inside it."""
_NEEDLE = 1.6
"""Times the narrowest glass below which a neck cannot be glass."""
_MOST_CUTS = 40
"""Cuts in one thing at most: more is not glass that touches."""
_SURE_NECK = 0.6
"""Share of the longest neck below which one that is not cut is a doubt."""
_BARE = 0.6
"""Share of a neck that looks like bare ground from which it is open."""
_OPEN_NECK = 0.5
"""Share of the longest neck below which an open one is cut."""


@dataclass(frozen=True, slots=True)
class Neck:
    """Two facing notches.

    Attributes
    ----------
    ends : (2, 2) the notches, px of the working picture.
    length_mm : between them.
    share : that length to the outline of the smaller part.
    seam : mean step along it, in times the usual steps inside.
    bare : share of it where the picture does not show that the ground is covered.
    """

    ends: Array
    length_mm: float
    share: float
    seam: float
    bare: float


@dataclass(frozen=True, slots=True)
class Parts:
    """One shape and what became of it.

    Attributes
    ----------
    masks : its parts, (H, W) each.
    cut : where it was divided.
    doubtful : where it may have to be.
    """

    masks: tuple[Mask, ...]
    cut: tuple[Neck, ...]
    doubtful: tuple[Neck, ...]


def parted(shape: Mask, shows: Mask, steps: Grid, work: Working, o: LooseOptions) -> Parts:
    """Divide one connected shape where pieces of glass touch.

    Rules:

    1. A notch is a place where the outline turns inwards by more than `notch_deg` and lies deeper
       than `notch_mm` below its neighbourhood.
    2. Two notches face each other where the line between them runs inside and is short against
       the outline of either part: a piece of glass is compact and seldom has a waist.
    3. The shape is divided there when an edge runs along that line, when it is hardly longer than
       glass can be narrow, or when it is very short against both parts and the ground shows on
       it: there only the closing of gaps has joined them. Otherwise the place is doubtful.
    4. The parts are looked at again.
    """
    todo, done = [shape], list[Mask]()
    cut, doubtful = list[Neck](), list[Neck]()
    while todo:
        part = todo.pop()
        necks = _necks(part, shows, steps, work, o)
        sure = [n for n in necks if _sure(n, o)]
        halves = _halves(part, sure[0], work, o) if sure and len(cut) < _MOST_CUTS else ()
        if halves:
            cut.append(sure[0])
            todo.extend(halves)
            continue
        done.append(part)
        doubtful += [n for n in necks if n.share < _SURE_NECK * o.neck][:1]
    return Parts(tuple(done), tuple(cut), tuple(doubtful))


def outline_px(shape: Mask) -> Array:
    """Return the outer outline of the largest part, (N, 2) px, clockwise as seen, unsmoothed."""
    found, _ = cv2.findContours(shape.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    largest = max(found, key=lambda c: (cv2.contourArea(c), len(c)))
    ring = largest.reshape(-1, 2).astype(np.float64)
    x, y = ring[:, 0], ring[:, 1]
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return ring if area >= 0.0 else ring[::-1]


def _sure(neck: Neck, o: LooseOptions) -> bool:
    """Return whether glass touches at a neck (rule 3)."""
    open_ground = neck.bare > _BARE and neck.share < _OPEN_NECK * o.neck
    narrow = neck.length_mm < _NEEDLE * o.narrowest_mm
    return neck.seam >= o.seam or narrow or open_ground


def _necks(shape: Mask, shows: Mask, steps: Grid, work: Working, o: LooseOptions) -> list[Neck]:
    """Return pairs of facing notches, the narrowest against its parts first."""
    ring = outline_px(shape)
    if len(ring) < 16:
        return []
    path = even_ring(ring, _STEP_MM * work.px_per_mm)
    path = gaussian_filter1d(path, _SMOOTH_MM / _STEP_MM, axis=0, mode="wrap")
    notches = _notches(path, work, o)
    if len(notches) < 2:
        return []
    outline = shapely.make_valid(shapely.Polygon(path)).buffer(0.4 * work.px_per_mm)
    usual = _usual_steps(shape, steps, work, o)
    n, found = len(path), list[Neck]()
    for a, i in enumerate(notches):
        for j in notches[a + 1 :]:
            ends = path[[i, j]]
            length_mm = float(np.hypot(*(ends[1] - ends[0]))) / work.px_per_mm
            less_mm = min(j - i, n - (j - i)) * _STEP_MM
            share = length_mm / max(less_mm, 1e-9)
            if share > o.neck or not outline.covers(shapely.LineString(ends)):  # rule 2
                continue
            seam = _along(ends, steps, work) / usual
            found.append(Neck(ends, length_mm, share, seam, _bare(ends, shows)))
    return sorted(found, key=lambda neck: (not _sure(neck, o), neck.share))


def _notches(path: Array, work: Working, o: LooseOptions) -> list[int]:
    """Return places of an outline, clockwise as seen, that are notches (rule 1)."""
    arm, wing = round(_ARM_MM / _STEP_MM), round(_WING_MM / _STEP_MM)
    to, back = np.roll(path, -arm, axis=0) - path, path - np.roll(path, arm, axis=0)
    turn = np.arctan2(back[:, 0] * to[:, 1] - back[:, 1] * to[:, 0], np.sum(back * to, axis=1))
    inward = -np.degrees(turn)
    around = np.stack([np.roll(inward, k) for k in range(-arm, arm + 1)])
    found = []
    for i in np.flatnonzero((inward >= around.max(axis=0)) & (inward > o.notch_deg)):
        depth_px = 0.0
        for reach in range(arm, wing + 1, 2):
            a, b = path[(i - reach) % len(path)], path[(i + reach) % len(path)]
            base = b - a
            length = float(np.hypot(*base))
            off = base[0] * (path[i][1] - a[1]) - base[1] * (path[i][0] - a[0])
            depth_px = max(depth_px, off / max(length, 1e-9))
        if depth_px > o.notch_mm * work.px_per_mm:
            found.append(int(i))
    return found


def _usual_steps(shape: Mask, steps: Grid, work: Working, o: LooseOptions) -> float:
    inner = cv2.erode(shape.astype(np.uint8), disc(_SPARED_MM * work.px_per_mm)) > 0
    inside = steps[inner] if inner.any() else steps[shape]
    return max(float(np.quantile(inside, 0.7)), 0.5 * o.edge_least)


def _along(ends: Array, steps: Grid, work: Working) -> float:
    """Return the usual greatest step near the line between two notches."""
    way = ends[1] - ends[0]
    length = float(np.hypot(*way))
    across = np.array((-way[1], way[0])) / max(length, 1e-9)
    share = np.linspace(0.08, 0.92, max(3, round(length)))
    off = np.arange(-_BESIDE_MM, _BESIDE_MM + 0.01, 0.5 / work.px_per_mm) * work.px_per_mm
    places = ends[0] + share[:, None, None] * way + off[None, :, None] * across
    seen = cv2.remap(
        steps,
        places[..., 0].astype(np.float32),
        places[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return float(np.quantile(np.asarray(seen).max(axis=1), 0.25))


def _bare(ends: Array, shows: Mask) -> float:
    """Return the share of the line between two notches where the ground shows."""
    length = max(3, round(float(np.hypot(*(ends[1] - ends[0])))))
    places = np.round(ends[0] + np.linspace(0.1, 0.9, length)[:, None] * (ends[1] - ends[0]))
    columns, rows = places.astype(int).T
    return float(1.0 - shows[rows, columns].mean())


def _halves(shape: Mask, neck: Neck, work: Working, o: LooseOptions) -> tuple[Mask, ...]:
    """Return the parts on both sides of a neck; nothing where one is too small for glass."""
    left = shape.astype(np.uint8)
    way = neck.ends[1] - neck.ends[0]
    more = way / max(float(np.hypot(*way)), 1e-9) * 2.0 * work.px_per_mm
    a, b = np.round(neck.ends[0] - more).astype(int), np.round(neck.ends[1] + more).astype(int)
    # Eight-connected lines of two pixels' width leave no way through at a corner.
    cv2.line(left, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 0, 2)
    count, parts = cv2.connectedComponents(left, connectivity=4)
    least = o.smallest_mm2 * work.px_per_mm**2
    large = [k for k in range(1, count) if int((parts == k).sum()) >= least]
    return tuple(np.asarray(parts == k) for k in large) if len(large) > 1 else ()
