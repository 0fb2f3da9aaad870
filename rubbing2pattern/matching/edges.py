"""Where something lies on the bare ground: by other colour, and by edges that shut in.

Legend for shapes: H, W rows and columns of the working picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.ground import (
    Ground,
    Mask,
    Working,
    difference,
    disc,
    largest,
    linear,
)
from rubbing2pattern.matching.mottled import Faint
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grid

Labels = npt.NDArray[np.int32]

_LOW_SHARE = 0.5
"""Share of a strong step down to which an edge goes on from it."""
_GREY_LEAST = 0.1
"""Unevenness of the three colours below which darker ground is a shadow; glass tints."""
_AROUND_MM = 5.0
"""Rim around what was found whose edges belong to it: its shadow and its glints."""
_TOGETHER_MM = 4.0
"""Edges nearer to each other than twice this are of one thing."""
_TRACE_MM2 = 4.0
"""Area of edges, or of another colour, from which something seems to lie there."""
_FAINT = 0.6
"""Share of a closed patch that must look like the ground to be ground."""


@dataclass(frozen=True, slots=True)
class Covered:
    """Where something lies on the ground, (H, W) bool each.

    Attributes
    ----------
    lies : all of it.
    shows : where the picture shows it, before gaps are closed and what is shut in is filled.
    coloured : where it has a colour that no shadow makes.
    relief : (H, W) how much speaks for an edge, in steps of the bare ground; on mottled ground.
    """

    lies: Mask
    shows: Mask
    coloured: Mask
    relief: Grid | None = None

    def part(self, rows: slice, columns: slice) -> Covered:
        """Return the part within rows and columns."""
        at = (rows, columns)
        relief = None if self.relief is None else self.relief[at]
        return Covered(self.lies[at], self.shows[at], self.coloured[at], relief)


def covered(work: Working, ground: Ground, faint: Faint | None, o: LooseOptions) -> Covered:
    """Return where something lies on the ground.

    Rules:

    1. A place is barred when it lies on an edge, or its colour is off the ground's and no shadow
       could make it so: a shadow takes all colours of the light alike, and not all of it; on
       mottled ground also where `faint` shows something.
    2. Gaps in what is barred are closed up to `gap_mm`.
    3. The ground is what can be reached without crossing what is barred: the largest free part
       that has its colour, and all such parts at the rim of what is read. So a shadow, which
       begins softly, is ground, and clear glass, which only its rim shows, is not.
    4. Threads narrower than glass are taken off: edges of shadows, scratches, drawn lines.
    """
    coloured = _off_colour(work, ground, o) & work.inside
    barred = (_edges(ground, o) & work.inside) | coloured  # rule 1
    if faint is not None:
        barred |= faint.shows
    shut = _closed(barred, o.gap_mm * work.px_per_mm)  # rule 2
    free = (~shut & work.inside).astype(np.uint8)
    parts = np.asarray(cv2.connectedComponents(free, connectivity=4)[1], dtype=np.int32)
    lies = work.inside & ~np.isin(parts, _grounds(parts, work, ground, o))  # rule 3
    # Closing has drawn the ground's border outwards over bends of the edge; it is settled later.
    lies = _opened(lies, 0.5 * o.narrowest_mm * work.px_per_mm)  # rule 4
    if faint is not None:
        lies = faint.trimmed(lies, work.px_per_mm)
        lies = _opened(lies, 0.5 * o.narrowest_mm * work.px_per_mm)
    relief = None if faint is None else faint.relief(ground)
    return Covered(lies, barred, coloured, relief)


def left_over(there: Covered, work: Working, o: LooseOptions) -> list[Array]:
    """Return places (column, row) where edges or colours lie that belong to nothing found.

    Edges that lie near each other are one place; what is smaller than glass is no place.
    """
    spared = disc(_AROUND_MM * work.px_per_mm)
    left = there.shows & (cv2.dilate(there.lies.astype(np.uint8), spared) == 0)
    groups = cv2.dilate(left.astype(np.uint8), disc(_TOGETHER_MM * work.px_per_mm))
    count, labels = cv2.connectedComponents(groups, connectivity=8)
    rows, columns = np.nonzero(left)
    of = labels[rows, columns]
    found = []
    for k in range(1, count):
        own = of == k
        at = np.column_stack((columns[own], rows[own]))
        wide = np.ptp(at, axis=0) / work.px_per_mm
        if own.sum() >= _TRACE_MM2 * work.px_per_mm**2 and wide.max() ** 2 > o.smallest_mm2:
            middle = np.median(at, axis=0)
            found.append(at[np.argmin(np.hypot(*(at - middle).T))].astype(np.float64))
    return found


def _edges(ground: Ground, o: LooseOptions) -> Mask:
    """Return edges: strong steps and the weaker ones that go on from them."""
    high = max(o.edge_noise * ground.steps, o.edge_least)
    steps = ground.slopes
    weak = (steps > _LOW_SHARE * high).astype(np.uint8)
    count, parts = cv2.connectedComponents(weak, connectivity=8)
    strong = np.bincount(parts[steps > high], minlength=count) > 0
    strong[0] = False
    return np.asarray(strong[parts])


def _off_colour(work: Working, ground: Ground, o: LooseOptions) -> Mask:
    off = ground.off(work.colour)
    apart = (difference(off, ground) > o.off_noise) & (largest(off) > o.off_least)
    seen = work.colour[apart]
    bare = np.maximum(linear(ground.colour[apart]), np.float32(1e-4))
    share = linear(seen) / bare
    mean, least, most = share.mean(axis=1), share.min(axis=1), share.max(axis=1)
    uneven = (most - least) / np.maximum(mean, 1e-4)
    # Noise makes the colours of a dark ground uneven.
    doubt = 2.2 * o.off_noise * ground.quiet / np.maximum(seen.min(axis=1), 0.02)
    shadow = (mean < 1.0) & (mean > o.shadow_least) & (uneven < _GREY_LEAST + doubt)
    apart[apart] = ~shadow
    return np.asarray(apart)


def _grounds(parts: Labels, work: Working, ground: Ground, o: LooseOptions) -> list[int]:
    """Return the labels of the free parts that are bare ground."""
    count = int(parts.max()) + 1
    size = np.bincount(parts.ravel(), minlength=count)
    like = largest(work.colour - ground.colour) < max(
        o.off_least, o.off_noise * float(ground.noise.max())
    )
    alike = np.bincount(parts[like], minlength=count) > _FAINT * size
    alike[0] = False
    size = np.where(alike, size, 0)
    found = {int(size.argmax())} if size.any() else set()
    at_rim = np.unique(parts[rim_of(work.inside)])
    return sorted(found | {int(i) for i in at_rim if alike[i]})


def rim_of(inside: Mask) -> Mask:
    """Return the outermost pixels of what is read, (H, W) bool."""
    framed = np.pad(inside.astype(np.uint8), 1)
    kept = cv2.erode(framed, np.ones((3, 3), np.uint8))[1:-1, 1:-1]
    return np.asarray(inside & (kept == 0))


def _closed(mask: Mask, gap_px: float) -> Mask:
    if gap_px < 1.0:
        return mask
    patch = disc(0.5 * gap_px)
    r = patch.shape[0] // 2
    framed = np.pad(mask.astype(np.uint8), r)
    return np.asarray(cv2.morphologyEx(framed, cv2.MORPH_CLOSE, patch)[r:-r, r:-r] > 0)


def _opened(mask: Mask, radius_px: float) -> Mask:
    patch = disc(radius_px)
    r = patch.shape[0] // 2 + 1
    # What the picture's edge cuts off goes on beyond it.
    framed = np.pad(mask.astype(np.uint8), r, mode="edge")
    return np.asarray(cv2.morphologyEx(framed, cv2.MORPH_OPEN, patch)[r:-r, r:-r] > 0)
