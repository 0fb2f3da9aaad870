"""The relief of the panel as the paper feels it, and the pressure that a rubbing stick puts on it.

Pressure across a lead is written as a function of `u`, the distance from the lead line, so that
the same formula serves every pixel of the picture and the one exact profile from which the truth
`shown_width_mm` is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import Array, Strip

Grid = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Lead:
    """How the leads of one panel are shaped and how the paper and the stick meet them.

    Attributes
    ----------
    edge_radius_mm : rounding of the leaf's edge.
    edge_drop_mm : how far a flat leaf's edge lies below its middle (burnished down).
    crown : rise of a round leaf over its edge, as a share of the face width.
    give_mm : how far stick, hand and paper give under the stroke, the depth of relief reached.
    drape_mm : length over which the paper sinks from the lead's edge to the glass.
    hollow : loss of pressure in the middle of a very wide flat lead, 0 .. 1.
    """

    edge_radius_mm: float = 0.25
    edge_drop_mm: float = 0.06
    crown: float = 0.07
    give_mm: float = 0.6
    drape_mm: float = 0.22
    hollow: float = 0.25


def pressure(u: Grid, half: Grid | float, profile: str, lead: Lead) -> Grid:
    """Return the pressure under the stroke, about 1 on a narrow flat lead.

    Drop of the leaf below its crown: ``edge_drop (u/a)^4`` and the rounded edge for a flat leaf,
    ``R - sqrt(R^2 - u^2)`` for a round one. Pressure falls linearly with the drop until the give
    is used up. On a flat leaf the load crowds to the edges as under a punch on an elastic layer,
    written as ``1 - hollow (1 - e^(-(a - u)/t)) (1 - e^(-(a + u)/t))``. Outside, the paper hangs
    free and takes little.
    """
    u = np.abs(u)
    inside = np.minimum(u, half)
    if profile == "round":
        rise = lead.crown * 2 * half
        radius = (half * half + rise * rise) / (2 * rise)
        drop = radius - np.sqrt(radius * radius - inside * inside)
        load = 1.0
    else:
        r = lead.edge_radius_mm
        into = np.maximum(0.0, inside - half + r)
        drop = lead.edge_drop_mm * (inside / half) ** 4 + r - np.sqrt(r * r - into * into)
        t = 1.6
        load = 1.12 - lead.hollow * (1 - np.exp(-(half - inside) / t)) * (
            1 - np.exp(-(half + inside) / t)
        )
    p = load * np.maximum(0.0, 1.0 - drop / lead.give_mm)
    outside = np.exp(-np.maximum(0.0, u - half) / lead.drape_mm) * (u > half)
    return np.asarray(np.where(u > half, p * 0.55 * outside, p), dtype=np.float32)


def across(
    strips: list[Strip], shape: tuple[int, int], origin: tuple[float, float], scale: float
) -> tuple[Grid, npt.NDArray[np.bool_]]:
    """Return the distance from the nearest of the lead lines, exact near them, and where it is.

    Strategy: draw the lead lines as pixels, let the distance transform tell for every pixel which
    of them is nearest, and measure from the pixel's centre to the run there, not to the pixel.

    Parameters
    ----------
    strips : leads of one width and profile.
    shape : (H, W) of the grid.
    origin : x, y in mm of the centre of pixel (0, 0).
    scale : pixels per mm.
    """
    h, w = shape
    canvas = np.full(shape, 255, np.uint8)
    owner = np.full(shape, -1, np.int32)
    samples = []
    count = 0
    for strip in strips:
        s = _sampled(strip.points, 0.7 / scale)
        samples.append(s)
        col = np.rint((s[:, 0] - origin[0]) * scale).astype(int)
        row = np.rint((origin[1] - s[:, 1]) * scale).astype(int)
        ok = (col >= 0) & (col < w) & (row >= 0) & (row < h)
        canvas[row[ok], col[ok]] = 0
        owner[row[ok], col[ok]] = count + np.flatnonzero(ok)
        count += len(s)
    table = np.vstack(samples)
    distance, labels = cv2.distanceTransformWithLabels(
        canvas, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    reach = max(s.width_mm for s in strips) / 2 + 1.5
    near = distance < reach * scale
    of_label = np.zeros(labels.max() + 1, np.int32)
    zero = canvas == 0
    of_label[labels[zero]] = owner[zero]
    rows, cols = np.nonzero(near)
    k = table[of_label[labels[near]]]
    dx = origin[0] + cols / scale - k[:, 0]
    dy = origin[1] - rows / scale - k[:, 1]
    side = np.abs(dy * k[:, 2] - dx * k[:, 3])
    along = dx * k[:, 2] + dy * k[:, 3]
    beyond = np.maximum(0.0, np.where(k[:, 4] > 0, along, np.where(k[:, 4] < 0, -along, 0)))
    out = np.full(shape, 99.0, np.float32)
    # A lead's end is cut square: nothing of it lies beyond.
    out[near] = np.where(beyond > 0.3 / scale, 99.0, side)
    return out, near


def _sampled(points: Array, step: float) -> Array:
    """Return samples (x, y, tangent x, tangent y, end) at even steps; end -1 first, +1 last."""
    d = np.hypot(*np.diff(points, axis=0).T)
    s = np.concatenate(([0.0], np.cumsum(d)))
    n = max(2, int(np.ceil(s[-1] / step)) + 1)
    t = np.linspace(0.0, s[-1], n)
    x, y = np.interp(t, s, points[:, 0]), np.interp(t, s, points[:, 1])
    seg = np.clip(np.searchsorted(s, t, side="right") - 1, 0, len(d) - 1)
    tangent = np.diff(points, axis=0)[seg] / np.maximum(d[seg], 1e-12)[:, None]
    end = np.zeros(n)
    if not np.allclose(points[0], points[-1], atol=1e-9):
        end[0], end[-1] = -1, 1
    return np.column_stack((x, y, tangent, end))
