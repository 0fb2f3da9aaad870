"""From what lies on the ground to single pieces of glass, as masks in the working picture.

Legend for shapes: H, W rows and columns of the working picture; h, w those of a part of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from shapely.geometry import Polygon
from skimage.segmentation import watershed

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.edges import Covered, rim_of
from rubbing2pattern.matching.ground import Mask, Working, disc
from rubbing2pattern.matching.not_glass import is_ruler, is_target
from rubbing2pattern.matching.touching import Neck, outline_px, parted
from rubbing2pattern.matching.walking import walked
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grey, Grid

_MARGIN_MM = 4.0
"""Ground around a part that is cut out with it."""
_CORE_MM = 4.5
"""Depth from which a place is surely glass, past rim and shadow."""
_CORE_SHARE = 0.5
"""The same for small pieces, of their greatest depth."""
_AROUND_MM = 1.5
"""How far beyond what shows on mottled ground the rim of the glass may lie."""
_BEYOND_MM = 0.7
"""How far beyond its first outline a piece may be settled."""
_COLOUR_IN_MM = 0.8
"""Rim of coloured glass that is not surely glass: colours bleed."""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that lies on the ground.

    Attributes
    ----------
    work : the part of the working picture about it.
    mask, own : (h, w) the thing; and where its edge may lie.
    outline : (N, 2) px of `work`, clockwise as seen.
    whole : whether it lies free of the rim of what is read.
    kind : "glass", "target", "ruler" or "room".
    cut, doubtful : necks where it was separated from its neighbours, and where it may have to be.
    """

    work: Working
    mask: Mask
    own: Mask
    outline: Array
    whole: bool
    kind: str
    cut: tuple[Neck, ...] = ()
    doubtful: tuple[Neck, ...] = ()


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known about the places around a shape, (h, w) bool each.

    Attributes
    ----------
    free : where no other shape lies and the picture is to be read.
    edge : the rim of what is read.
    there : what is known of what lies there.
    """

    free: Mask
    edge: Mask
    there: Covered


def parts_of(
    there: Covered,
    steps: Grid,
    work: Working,
    grey: Grey,
    targets: tuple[Polygon, ...],
    o: LooseOptions,
) -> Iterator[Part]:
    """Give each thing that lies on the ground, touching ones separated.

    Strategy: the outline of what lies there follows the outer side of shadows and of closed gaps.
    The line of the strongest steps between its core and the ground is nearer the glass (watershed
    on the size of the steps: Beucher and Lantuejoul 1979), and soft shadows fall to the ground.
    """
    rim = rim_of(work.inside)
    at_rim = cv2.dilate(rim.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        there.lies.astype(np.uint8), connectivity=4
    )
    margin = round(_MARGIN_MM * work.px_per_mm)
    least = o.smallest_mm2 * work.px_per_mm**2
    h, w = there.lies.shape
    for label in range(1, len(stats)):
        left, top, width, height, area = (int(v) for v in stats[label])
        if area < least:
            continue
        rows = slice(max(0, top - margin), min(h, top + height + margin))
        columns = slice(max(0, left - margin), min(w, left + width + margin))
        near = work.part(rows, columns)
        mask = labels[rows, columns] == label
        edge = at_rim[rows, columns]
        free = (labels[rows, columns] == 0) | mask
        if (mask & rim[rows, columns]).sum() > o.surround * rim.sum():
            yield _plain(near, mask, free, "room", whole=False)
        elif is_target(mask, near, targets):
            yield _plain(near, mask, free, "target", whole=True)
        else:
            about = Surroundings(free & near.inside, edge, there.part(rows, columns))
            yield from _divided(near, mask, about, steps[rows, columns], grey, o)


def _plain(work: Working, mask: Mask, own: Mask, kind: str, *, whole: bool) -> Part:
    return Part(work, mask, own, outline_px(mask), whole, kind)


def _divided(
    work: Working, mask: Mask, about: Surroundings, steps: Grid, grey: Grey, o: LooseOptions
) -> Iterator[Part]:
    """Give the pieces that make up one connected shape."""
    parts = parted(mask, about.there.shows, steps, work, o)
    markers = np.where(mask, 0, 1).astype(np.int32)
    for k, one in enumerate(parts.masks):
        markers[_core(one, about.there.coloured, work)] = k + 2
    if about.there.relief is None:
        settled = watershed(steps, markers)
    else:
        reach = cv2.dilate(mask.astype(np.uint8), disc(_AROUND_MM * work.px_per_mm)) > 0
        markers[reach & about.free & (markers == 1)] = 0
        settled = walked(about.there.relief, markers)
    reach = cv2.dilate(mask.astype(np.uint8), disc(_BEYOND_MM * work.px_per_mm)) > 0
    for k, one in enumerate(parts.masks):
        own_mask = _largest(settled == k + 2)
        if not own_mask.any() or own_mask.sum() < o.smallest_mm2 * work.px_per_mm**2:
            continue
        others = (settled > 1) & (settled != k + 2)
        outline = outline_px(own_mask)
        shape = Polygon(outline)
        ruler = shape.is_valid and is_ruler(shape, own_mask, grey, work, o)
        whole = not bool((own_mask & about.edge).any())
        cut = tuple(n for n in parts.cut if _touches(one, n))
        doubtful = tuple(n for n in parts.doubtful if _touches(one, n))
        kind = "ruler" if ruler else "glass"
        own = about.free & ~others & reach
        yield Part(work, own_mask, own, outline, whole, kind, cut, doubtful)


def _core(mask: Mask, coloured: Mask, work: Working) -> Mask:
    """Return what lies safely inside a shape: past shadows and rims, or by its colour."""
    framed = np.pad(mask.astype(np.uint8), 1, mode="edge")
    deep = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    core = deep >= min(_CORE_MM * work.px_per_mm, _CORE_SHARE * float(deep.max()))
    sure = cv2.erode((coloured & mask).astype(np.uint8), disc(_COLOUR_IN_MM * work.px_per_mm)) > 0
    return np.asarray(core | sure)


def _largest(mask: Mask) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count < 2:
        return mask
    return np.asarray(labels == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()))


def _touches(mask: Mask, neck: Neck) -> bool:
    """Return whether a neck lies at a shape, by the places beside its middle."""
    h, w = mask.shape
    column, row = np.round(neck.ends.mean(axis=0)).astype(int)
    around = mask[max(0, row - 6) : min(h, row + 7), max(0, column - 6) : min(w, column + 7)]
    return bool(around.any())
