"""Where the panel runs off the picture, or off the sheet: ink of its leads at the very edge.

Legend for shapes: N places along the rim of what was seen, one every half millimetre, in a ring.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient
from shapely.ops import nearest_points

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, left_normals, offsets, sample
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.paneling.lines import lead_lines
from rubbing2pattern.reading import LeadMap, LeadNet, Rubbing

Mask = npt.NDArray[np.bool_]

_STEP_MM = 0.5
"""Step along the edge of the sheet and along leads; a cell of the map."""
_FLATNESS_MM = 0.05
"""How closely curved leads are followed; a tenth of a cell of the map."""
_SIDES = ("right", "upper", "left", "lower")


def cut_off(
    net: LeadNet, lead: LeadMap, rubbing: Rubbing, options: MeasureOptions
) -> tuple[Finding, ...]:
    """Return a finding for every place where the panel reaches the edge of what was seen.

    Rules:

    1. the rim lies just inside the sheet where its edges were found, else just inside the picture;
    2. ink on the rim is the panel's when it hangs together with dark that holds a good length of
       its lead lines;
    3. a border is closed, so whatever cuts it meets it twice: there must be two such places, one of
       them as long as the panel's narrowest lead shows wide, or one as long as no lead is wide: a
       fold that runs over the panel and on to both edges is dark too, but narrower than lead;
    4. the places of one side of the sheet say the same, so that the audit makes them one; each has
       beside it the nearest place of the pieces found, by which the audit knows those touched.
    """
    rim = _rim(rubbing, options)
    if rim is None or not net.cames:
        return ()
    panel = _of_the_panel(net, lead, rim, options)  # rule 2
    ink = _ink(rim, lead, rubbing) > options.rim_ink
    met = [run for run in _runs(ink & panel) if len(run) * _STEP_MM >= options.rim_least_mm]
    longest_mm = max((len(run) for run in met), default=0) * _STEP_MM
    widths_mm = (came.shown_width_mm for came in net.cames)
    narrowest_mm = min(filter(np.isfinite, widths_mm), default=0.0)
    least_mm = options.rim_long_mm if len(met) < 2 else narrowest_mm
    if longest_mm < least_mm:  # rule 3
        return ()
    paths = lead_lines(net, _FLATNESS_MM).paths
    pieces = enclosed(paths)
    lines = shapely.union_all([LineString(path) for path in paths])
    near = lines if pieces.is_empty else pieces.boundary
    what = "picture" if rubbing.paper is None else "sheet"
    return tuple(_cut_off_findings(met, rim, near, what))


def _rim(rubbing: Rubbing, options: MeasureOptions) -> Array | None:
    """Return the ring of places (N, 2) in mm on which the edge is looked at (rule 1).

    None when the picture shows the horizon, so that its corners are not places of the sheet.
    """
    if rubbing.paper is not None:
        edge, inset_mm = rubbing.paper, options.rim_sheet_mm
    else:
        height, width = rubbing.photograph.grey.shape
        corners = [(0, 0), (width - 1, 0), (width - 1, height - 1), (0, height - 1)]
        edge, inset_mm = Polygon(rubbing.warp.to_mm(corners)), options.rim_picture_mm
        if not (edge.is_valid and shapely.box(*rubbing.bounds_mm).buffer(1.0).contains(edge)):
            return None
    inner = edge.buffer(-inset_mm, join_style="mitre")
    if inner.is_empty:
        return None
    return evenly(shapely.get_coordinates(orient(inner).exterior), _STEP_MM)[:-1]


def _ink(rim: Array, lead: LeadMap, rubbing: Rubbing) -> Array:
    """Return density over the local strength along the rim, the mean over 1 mm each way, (N,)."""
    closed = np.vstack((rim, rim[:1]))
    across = offsets(_STEP_MM, 0.1)
    density = sample(rubbing, lead, closed, left_normals(closed, True), across).density.mean(axis=1)
    share = density / grid_values(lead.strength, lead, closed)
    return np.asarray(ndimage.uniform_filter1d(share[:-1], 3, mode="wrap"), dtype=np.float64)


def _of_the_panel(net: LeadNet, lead: LeadMap, rim: Array, options: MeasureOptions) -> Mask:
    """Say which places of the rim lie at dark that holds lead lines of the panel, (N,)."""
    dark = (lead.density > options.rim_ink * lead.strength) & lead.mask
    label, count = ndimage.label(dark, structure=np.ones((3, 3)))
    places = np.vstack([evenly(came.curve.points(), _STEP_MM) for came in net.cames])
    held_mm = np.bincount(_at(label, lead, places), minlength=count + 1) * _STEP_MM
    holds = held_mm >= options.rim_held_mm
    holds[0] = False
    reach = max(1, round(options.rim_reach_mm * lead.frame.px_per_mm))
    near = ndimage.binary_dilation(holds[label], np.ones((3, 3)), iterations=reach)
    return np.asarray(_at(near, lead, rim))


def _at(grid: npt.NDArray[np.generic], lead: LeadMap, places: Array) -> npt.NDArray[np.generic]:
    cells = np.rint(lead.frame.to_px(places)).astype(np.int64)
    rows = np.clip(cells[:, 1], 0, grid.shape[0] - 1)
    return np.asarray(grid[rows, np.clip(cells[:, 0], 0, grid.shape[1] - 1)])


def _runs(on: Mask) -> list[npt.NDArray[np.int64]]:
    """Return the indices of every run of a ring; up to 2 mm between do not end one."""
    closed = ndimage.binary_closing(np.tile(on, 3), np.ones(5))[len(on) : 2 * len(on)]
    if closed.all():
        return [np.arange(len(on))]
    first = int(np.flatnonzero(~closed)[0]) if closed.any() else 0
    order = np.roll(np.arange(len(on)), -first)
    edges = np.flatnonzero(np.diff(closed[order].astype(np.int8), append=0))
    return [order[a + 1 : b + 1] for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _cut_off_findings(
    met: list[npt.NDArray[np.int64]], rim: Array, near: BaseGeometry, what: str
) -> Iterator[Finding]:
    """Report each side that is met, its middle place first (rule 4)."""
    after = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    # The ring runs anticlockwise: what lies outside is on its right.
    outward_deg = np.degrees(np.arctan2(after[:, 1], after[:, 0])) - 90.0
    side = (np.rint(outward_deg / 90.0).astype(np.int64)) % 4
    for number, name in enumerate(_SIDES):
        runs = [run[side[run] == number] for run in met]
        runs = [run for run in runs if len(run)]
        if not runs:
            continue
        middles = [run[len(run) // 2] for run in runs]
        middle = middles[len(middles) // 2]
        places = [rim[middle]]
        for place in rim[np.concatenate([run[:: round(5.0 / _STEP_MM)] for run in runs])]:
            beside = nearest_points(near, shapely.Point(place))[0]
            places.append(np.array((beside.x, beside.y)))
        for x, y in places:
            yield finding_of(Kind.BORDER_CUT_OFF, (float(x), float(y)), side=name, seen=what)
