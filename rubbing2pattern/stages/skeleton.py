"""Skeletonize: basins of glass flooded until they meet on the lead lines, and free branches."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage.morphology import skeletonize as thinned
from skimage.segmentation import watershed

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.basins import glass_basins
from rubbing2pattern.options.skeleton import SkeletonOptions
from rubbing2pattern.reading import LeadMap, Skeleton

Labels = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]

_INSIDE = 0.5
"""Map of what is inside the panel: likelier than not."""
_MM_PER_M = 1000.0
"""Millimetres in a metre."""


def skeletonize(lead: LeadMap, options: SkeletonOptions | None = None) -> Skeleton:
    """Return the basins of glass, with lead lines where they meet, and leads that end freely.

    Strategy: a watershed always closes its lines, however faint the lead; so rather too many basins
    are made on purpose and every line between two of them is weighed later. What lies beyond the
    border is one basin, the outside. What a watershed cannot show, a lead that ends inside a
    piece, comes from the thinned lead lines.
    """
    options = options or SkeletonOptions()
    centre = lead.maps.centre
    glass = np.asarray((centre < options.glass_below) & _well_inside(lead.mask))
    places, count = glass_basins(glass, lead.frame.px_per_mm, options)
    _refuse_as_too_dense(count, lead, options)
    markers = _with_outside(places, lead.mask, count + 1)
    share = options.leaf_share
    relief = (1.0 - share) * centre + share * lead.maps.leaf
    basins = watershed(np.round(relief * 255.0).astype(np.uint8), markers).astype(np.int32)
    basins = _outside_as_one(basins, lead)
    return Skeleton(lead.frame, basins, _branches(lead, basins, options))


def _outside_as_one(basins: Labels, lead: LeadMap) -> Labels:
    """Give every basin that lies mostly outside the panel the label of the outside."""
    outside = int(basins[0, 0])
    cells = np.bincount(basins.ravel())
    inner = np.bincount(basins.ravel(), weights=lead.maps.inside.ravel())
    gone = inner < 0.5 * cells
    gone[outside] = True
    return np.where(gone[basins], outside, basins)


def _refuse_as_too_dense(count: int, lead: LeadMap, options: SkeletonOptions) -> None:
    """Refuse what no glazier leads before every line between two basins is weighed."""
    inside_m2 = float((lead.maps.inside > _INSIDE).sum()) / (_MM_PER_M * lead.frame.px_per_mm) ** 2
    if count > options.many_openings and count > options.most_openings_m2 * inside_m2:
        raise NoLeadFound(
            f"no lead lines found: dark lines close round {count} openings on {inside_m2:.2f} m², "
            f"but leads leave at most {options.most_openings_m2:.0f} in a square metre; is it a "
            "rubbing of a leaded panel, and is the scale right?"
        )


def _with_outside(labels: Labels, mask: Mask, outside: int) -> Labels:
    labels[~_well_inside(mask)] = outside
    return labels


def _well_inside(mask: Mask) -> Mask:
    inside = mask.copy()
    inside[0, :] = inside[-1, :] = False
    inside[:, 0] = inside[:, -1] = False
    return inside


def _branches(lead: LeadMap, basins: Labels, options: SkeletonOptions) -> tuple[Array, ...]:
    """Return leads inside a basin as polylines in mm."""
    px = lead.frame.px_per_mm
    lines = _lines_between(basins)
    clear = cv2.distanceTransform((~lines).astype(np.uint8), cv2.DIST_L2, 5) / px
    seen = (lead.maps.centre > options.branch_above) & lead.mask & (basins != basins[0, 0])
    strong, _ = ndimage.label(seen)
    keep = (clear > options.branch_clear_mm) & seen
    wanted = np.zeros(int(strong.max()) + 1, dtype=bool)
    wanted[np.unique(strong[keep])] = True
    wanted[0] = False
    thin = np.asarray(thinned(wanted[strong]))
    thin &= clear > options.branch_clear_mm
    label, _ = ndimage.label(thin, structure=np.ones((3, 3)))
    out = []
    for i, box in enumerate(ndimage.find_objects(label), start=1):
        part = label[box] == i
        if part.sum() < options.branch_length_mm * px * 0.8:
            continue
        path = _longest_path(part) + np.array([box[1].start, box[0].start])
        out.append(lead.frame.to_mm(path))
    return tuple(out)


def _lines_between(basins: Labels) -> Mask:
    lines = np.zeros(basins.shape, dtype=bool)
    lines[:, :-1] |= basins[:, :-1] != basins[:, 1:]
    lines[:-1, :] |= basins[:-1, :] != basins[1:, :]
    return lines


def _longest_path(part: Mask) -> Array:
    """Longest shortest path through a thinned component, (N, 2) column and row; two sweeps."""
    rows, cols = np.nonzero(part)
    index = -np.ones(part.shape, dtype=np.int64)
    index[rows, cols] = np.arange(len(rows))
    first, _ = _farthest(index, rows, cols, 0)
    last, parent = _farthest(index, rows, cols, first)
    path = [last]
    while parent[path[-1]] >= 0:
        path.append(parent[path[-1]])
    return np.column_stack((cols[path], rows[path])).astype(np.float64)


def _farthest(
    index: npt.NDArray[np.int64],
    rows: npt.NDArray[np.int64],
    cols: npt.NDArray[np.int64],
    start: int,
) -> tuple[int, list[int]]:
    parent = [-2] * len(rows)
    parent[start] = -1
    queue = [start]
    h, w = index.shape
    for here in queue:
        r, c = int(rows[here]), int(cols[here])
        for dr, dc in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)):
            rr, cc = r + dr, c + dc
            if 0 <= rr < h and 0 <= cc < w:
                there = int(index[rr, cc])
                if there >= 0 and parent[there] == -2:
                    parent[there] = here
                    queue.append(there)
    return queue[-1], parent
