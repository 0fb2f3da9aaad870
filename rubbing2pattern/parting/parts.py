"""Parts of the net without a tie to the panel: another panel, writing taken for lead, roundels."""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.curves import polyline_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.reading import LeadMap, RawNet


def main_part(net: RawNet, odds: Array) -> tuple[RawNet, Array]:
    """Return the longest part of a net and what lies inside it, with their log odds."""
    part = _parts(net)
    length = np.array([polyline_length(p) for p in net.paths])
    total = np.bincount(part, length) if len(part) else np.zeros(0)
    if len(total) < 2:
        return net, odds
    main = int(total.argmax())
    keep = part == main
    outline = enclosed(net.paths[k] for k in np.flatnonzero(keep))
    for number in range(len(total)):
        rows = np.flatnonzero(part == number)
        lines = shapely.union_all([shapely.LineString(net.paths[k]) for k in rows])
        keep[rows] |= bool(outline.contains(lines))
    rows = np.flatnonzero(keep)
    used, ends = np.unique(net.ends[rows], return_inverse=True)
    out = RawNet(
        net.nodes[used], ends.reshape(-1, 2), tuple(net.paths[k] for k in rows), net.sides[rows]
    )
    return out, odds[rows]


def beyond(net: RawNet, lead: LeadMap, options: TidyOptions) -> tuple[Finding, ...]:
    """Report once, in words, lead lines that the map shows clear of the panel."""
    px = lead.frame.px_per_mm
    panel = np.zeros(lead.mask.shape, dtype=np.uint8)
    for shape in shapely.get_parts(enclosed(net.paths)):
        ring = lead.frame.to_px(shapely.get_coordinates(shape.exterior))
        cv2.fillPoly(panel, [np.round(ring).astype(np.int32)], 1)
    away_mm = cv2.distanceTransform(1 - panel, cv2.DIST_L2, 5) / px
    lines = (lead.maps.centre > 0.5) & (away_mm > options.apart_mm)
    length_mm = float(lines.sum()) / px**2 / options.line_width_mm
    if length_mm < options.smallest_part_mm:
        return ()
    return (finding_of(Kind.LEADS_BESIDE, length_mm=length_mm),)


def _parts(net: RawNet) -> np.ndarray:
    """Return the number of the part that every boundary belongs to."""
    n = len(net.nodes)
    a, b = net.ends.T
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1][a])
