"""Slivers: faces of the net so narrow that the leads around them hide them altogether."""

from __future__ import annotations

import numpy as np
import shapely

from rubbing2pattern.fitting.primitives import Fit
from rubbing2pattern.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.tidying.knots import Follows, join_through
from rubbing2pattern.tidying.settle import curve_of
from rubbing2pattern.tidying.stubs import Tracks, clean_length, clean_places, lone_width
from rubbing2pattern.tidying.web import Web


def drop_slivers(
    web: Web, tracks: Tracks, fits: dict[int, Fit], follows: Follows, options: TidyOptions
) -> bool:
    """Remove one lead of every face that the leads around it cover; return if any was found.

    No glass can have been there: two leads were drawn where one runs, or where two have run into
    one. The lead goes of which least is seen alone. What it parted runs on.
    """
    paths = {k: _path(web, k, fits[k], options) for k in sorted(web.strands)}
    keys = list(paths)
    lines = np.array([shapely.LineString(paths[k]) for k in keys], dtype=object)
    tree = shapely.STRtree(lines)
    widest = max(t.lone_mm for k, t in tracks.items() if k in web.strands)
    found = False
    for face in shapely.get_parts(shapely.polygonize([shapely.union_all(lines)])).tolist():
        if not face.buffer(-0.5 * widest, quad_segs=2).is_empty:
            continue
        near = [keys[i] for i in sorted(tree.query(face, predicate="intersects").tolist())]
        if any(k not in web.strands for k in near):
            continue
        bodies = [
            shapely.LineString(paths[k]).buffer(0.5 * lone_width(web, k, tracks, options))
            for k in near
        ]
        if not shapely.union_all(bodies).contains(face):
            continue
        seen = {k: _seen(web, k, tracks, options) for k in near if _on_edge(face, paths[k])}
        if min(seen.values(), default=1.0) < options.sliver_seen:
            _take_out(web, tracks, follows, min(seen, key=lambda k: (seen[k], k)), options)
            found = True
    if found:
        for end in [e for e, f in follows.items() if not {e[0], f[0]} <= web.strands.keys()]:
            del follows[end]
        join_through(web, tracks, follows)
    return found


def _path(web: Web, k: int, fit: Fit, options: TidyOptions) -> Array:
    """Points of a strand's curve, its ends exactly on its joints."""
    points = curve_of(web, k, fit, options).points(0.1)
    points[0], points[-1] = web.nodes[web.strands[k].a], web.nodes[web.strands[k].b]
    return points


def _on_edge(face: shapely.Polygon, path: Array) -> bool:
    middle = path[len(path) // 2]
    return float(shapely.distance(face.exterior, shapely.Point(middle))) < 1e-3


def _seen(web: Web, k: int, tracks: Tracks, options: TidyOptions) -> float:
    """Share of a strand that is seen alone."""
    clean = clean_length(clean_places(web, k, tracks, options), tracks[k])
    return clean / max(web.strands[k].length_mm, 1e-6)


def _take_out(web: Web, tracks: Tracks, follows: Follows, k: int, options: TidyOptions) -> None:
    strand = web.strands[k]
    nodes = sorted({strand.a, strand.b})
    web.detach(k)
    tracks.pop(k, None)
    for node in nodes:
        web.forget(node)
        ends = web.ends_at(node) if node in web.incident else []
        if len(ends) != 2 or ends[0][0] == ends[1][0]:
            continue
        if web.bend_deg(ends[0], ends[1]) < options.corner_deg:
            for end in ends:
                follows.pop(follows.pop(end, end), None)
            follows[ends[0]], follows[ends[1]] = ends[1], ends[0]
