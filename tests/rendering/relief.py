"""The relief of the panel as the paper feels it, and the pressure that a rubbing stick puts on it.

Pressure across a lead is written as a function of `u`, the distance from the lead line, so that
the same formula serves every pixel of the picture and the exact profile from which the truth
`shown_width_mm` is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import CORNER_DEG, Array, Strip
from tests.rendering.sheet import Grid, Rng, Rows

REACH_MM = 2.6
"""How far beyond a lead's edge the paper is still held up by it."""


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
    lean_mm : how far a leaf's edges lie higher and lower than its middle, one deviation.
    putty : pressure on the cement squeezed out beside the leaf, in patches, 0 .. 1.
    seam_mm : half of the furrow between the two leads of a double one.
    """

    edge_radius_mm: float = 0.25
    edge_drop_mm: float = 0.06
    crown: float = 0.08
    give_mm: float = 0.6
    drape_mm: float = 0.2
    hollow: float = 0.3
    lean_mm: float = 0.0
    putty: float = 0.0
    seam_mm: float = 0.2


def pressure(
    u: Grid, half: Grid, profile: str, lead: Lead, low: Grid, lean: Grid | float = 0.0
) -> Grid:
    """Return the pressure under the stroke, about 1 on a narrow flat lead.

    Drop of the leaf below its crown: ``edge_drop (u/a)^4`` and the rounded edge for a flat leaf,
    ``R - sqrt(R^2 - u^2)`` for a round one; `low` adds how far the whole lead lies below the plane
    in which the stick travels, and `lean` how far its edge does on the side of `u`. Pressure falls
    linearly with the drop until the give is used up (Winkler's bed of springs). On a flat leaf the
    load crowds to the edges as under a punch on an elastic layer,
    ``1 - hollow (1 - e^(-(a - u)/t)) (1 - e^(-(a + u)/t))`` with t = 1.6 mm.
    Outside, the paper hangs from the leaf's edge and takes little, fading over `drape_mm`.
    A double lead is two flat ones, nearly edge against edge, with a furrow of twice `seam_mm`
    between them.
    """
    if profile == "double":
        u, half = np.abs(u - (half + lead.seam_mm) / 2), (half - lead.seam_mm) / 2
    inside = np.minimum(u, half)
    load: Grid | float = 1.0
    if profile == "round":
        rise = lead.crown * 2 * half
        radius = (half * half + rise * rise) / (2 * rise)
        drop = radius - np.sqrt(radius * radius - inside * inside)
    else:
        r = lead.edge_radius_mm
        into = np.maximum(0.0, inside - half + r)
        drop = lead.edge_drop_mm * (inside / half) ** 4 + r - np.sqrt(r * r - into * into)
        near, far = np.exp(-(half - inside) / 1.6), np.exp(-(half + inside) / 1.6)
        load = 1.12 - lead.hollow * (1 - near) * (1 - far)
    p = load * np.maximum(0.0, 1.0 - (drop + low + lean * inside / half) / lead.give_mm)
    beyond = np.maximum(0.0, u - half)
    hanging = 0.55 * np.exp(-beyond / lead.drape_mm) * (beyond < REACH_MM)
    return np.asarray(np.where(u > half, p * hanging, p), dtype=np.float32)


def samples_of(strip: Strip, step_mm: float, rng: Rng) -> Array:
    """Return samples along a strip: x, y, tangent x, tangent y, end, half width.

    A strip is cut at its corners and each leg run on by as much as a mitre needs, so that a
    border's corner is full. `end` is -1 at the first and +1 at the last sample of a leg, where
    the lead is cut square. The face wanders by some hundredths of a millimetre along the strip.
    """
    legs = _legs(strip.points, strip.width_mm / 2)
    parts = []
    for leg in legs:
        d = np.hypot(*np.diff(leg, axis=0).T)
        s = np.concatenate(([0.0], np.cumsum(d)))
        n = max(2, int(np.ceil(s[-1] / step_mm)) + 1)
        t = np.linspace(0.0, s[-1], n)
        x, y = np.interp(t, s, leg[:, 0]), np.interp(t, s, leg[:, 1])
        seg = np.clip(np.searchsorted(s, t, side="right") - 1, 0, len(d) - 1)
        tangent = np.diff(leg, axis=0)[seg] / np.maximum(d[seg], 1e-12)[:, None]
        end = np.zeros(n)
        if len(legs) > 1 or not strip.closed:
            end[0], end[-1] = -1, 1
        knots = rng.normal(0, 0.04, int(s[-1] / 40) + 3)
        half = strip.width_mm / 2 + np.interp(t, np.arange(len(knots)) * 40.0, knots)
        parts.append(np.column_stack((x, y, tangent, end, half)))
    return np.vstack(parts)


def _legs(p: Array, half: float) -> list[Array]:
    closed = np.allclose(p[0], p[-1], atol=1e-9)
    d = np.diff(np.vstack((p, p[1:2])) if closed else p, axis=0)
    a = np.arctan2(d[:, 1], d[:, 0])
    turn = np.abs((np.diff(a) + np.pi) % (2 * np.pi) - np.pi)
    corners = np.flatnonzero(turn > np.radians(CORNER_DEG)) + 1
    if not len(corners):
        return [p]
    # The outer edges of two legs meet this far beyond the corner; a needle's point is cut off.
    mitre = dict(
        zip(corners.tolist(), half * np.tan(np.minimum(turn[corners - 1], 1.8) / 2), strict=True)
    )
    if closed:
        n = len(p) - 1
        ring = np.vstack((p[:-1], p[:-1], p[:1]))
        cuts = sorted(corners.tolist())
        spans = zip(cuts, [*cuts[1:], cuts[0] + n], strict=True)
        return [
            _run_on(ring[c : e + 1], mitre[c], mitre[e if e in mitre else e - n]) for c, e in spans
        ]
    cuts = [0, *corners.tolist(), len(p) - 1]
    return [_run_on(p[c : e + 1], mitre.get(c, 0.0), mitre.get(e, 0.0)) for c, e in pairwise(cuts)]


def _run_on(leg: Array, before: float, after: float) -> Array:
    def ahead(tip: Array, inner: Array, reach: float) -> Array:
        return np.asarray(tip + (tip - inner) / np.hypot(*(tip - inner)) * reach)

    parts = [leg]
    if before:
        parts.insert(0, ahead(leg[0], leg[1], before)[None])
    if after:
        parts.append(ahead(leg[-1], leg[-2], after)[None])
    return np.vstack(parts)


def across(
    table: Array, rows: Rows
) -> tuple[tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]], Grid, Grid, Grid] | None:
    """Return where leads are near, signed distance from the nearest lead line, its half width.

    Strategy: draw the lead lines as pixels, let the distance transform tell for every pixel which
    of them is nearest, and measure from the pixel's centre to the run there, not to the pixel.
    The last array holds the sample's running number, for patchy things along a lead.

    Parameters
    ----------
    table : samples of leads of one profile and width, as from `samples_of`.
    rows : rows of the fine grid.
    """
    h, w = rows.shape
    at = rows.to_px(table[:, :2])
    reach = (float(table[:, 5].max()) + REACH_MM) * rows.per_mm
    some = (at[:, 1] > -reach) & (at[:, 1] < h + reach)
    if not some.any():
        return None
    table, at = table[some], at[some]
    number = np.flatnonzero(some)
    # Leads just outside these rows still reach into them, so the drawing has a margin.
    pad = int(np.ceil(reach)) + 2
    col, row = np.rint(at[:, 0]).astype(int), np.rint(at[:, 1]).astype(int) + pad
    ok = (col >= 0) & (col < w) & (row >= 0) & (row < h + 2 * pad)
    canvas = np.full((h + 2 * pad, w), 255, np.uint8)
    canvas[row[ok], col[ok]] = 0
    distance, labels = cv2.distanceTransformWithLabels(
        canvas, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    owner = np.zeros(int(labels.max()) + 1, np.int64)
    # Of samples that share a pixel the end of a lead is kept, so that it is cut there.
    order = np.flatnonzero(ok)
    order = order[np.argsort(table[order, 4] != 0, kind="stable")]
    owner[labels[row[order], col[order]]] = order
    r, c = np.nonzero(distance[pad : pad + h] < reach)
    index = owner[labels[pad : pad + h][r, c]]
    k = table[index].astype(np.float32)
    px = at[index]
    dx = ((c - px[:, 0]) / rows.per_mm).astype(np.float32)
    dy = ((px[:, 1] - r) / rows.per_mm).astype(np.float32)
    side = dx * -k[:, 3] + dy * k[:, 2]
    along = dx * k[:, 2] + dy * k[:, 3]
    # A lead's end is cut square: nothing of it lies beyond.
    side[along * k[:, 4] > 0.3 / rows.per_mm] = 99.0
    return (r, c), side, k[:, 5], number[index].astype(np.float32)
