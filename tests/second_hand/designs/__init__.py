"""The designs by name; `draw` repeats a family's draw until a glazier could lead it."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable
from dataclasses import replace

import networkx as nx
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter, map_coordinates
from shapely.geometry import LineString, Polygon

from tests.second_hand.designs import gothic, pictorial, regular
from tests.second_hand.leadwork import Array, Board, Lead, Rng
from tests.second_hand.network import Network, network

FAMILIES: dict[str, Callable[[Rng], Board]] = {
    "arms": pictorial.arms,
    "arch_headed": gothic.arch_headed,
    "barred_lattice": regular.barred_lattice,
    "beads": regular.beads,
    "canopy": gothic.canopy,
    "circles": regular.circles,
    "drapery": pictorial.drapery,
    "foliage": pictorial.foliage,
    "hexagons": regular.hexagons,
    "landscape": pictorial.landscape,
    "mended": pictorial.mended,
    "rose": gothic.rose,
    "roundels": regular.roundels,
    "sunburst": gothic.sunburst,
    "tangent_arches": gothic.tangent_arches,
    "whiplash": pictorial.whiplash,
}
DESIGNS = tuple(sorted(FAMILIES))

TRIES = 60
LEAST_GLASS_MM = 5.6
"""Smallest circle of visible glass in a piece, its diameter."""
LEAST_NECK_MM, CRUMB_MM2 = 2.0, 4.0
"""Glass with a narrower neck breaks there; a part smaller than a crumb does not count."""
LEAST_CAME_MM = 8.0
LEAST_SIZE_MM, GREATEST_SIZE_MM = 245.0, 905.0


def draw(name: str, seed: int) -> tuple[list[Lead], Network]:
    """Return the leads of a panel and their exact graph."""
    for attempt in range(TRIES):
        rng = np.random.default_rng([seed, zlib.crc32(name.encode()), attempt])
        board = FAMILIES[name](rng)
        leads = _aged(board.leads, rng)
        found = network(leads)
        if not faults(found, leads, may_end=name == "mended"):
            return leads, found
    raise RuntimeError(f"{name} {seed}: no panel that can be leaded in {TRIES} tries")


def faults(found: Network, leads: list[Lead], *, may_end: bool) -> list[str]:
    """Return what a glazier would object to."""
    out = []
    size = np.ptp(leads[0].run, axis=0)
    if size.min() < LEAST_SIZE_MM or size.max() > GREATEST_SIZE_MM:
        out.append(f"size {size}")
    if not 15 <= len(found.pieces) <= 250:
        out.append(f"{len(found.pieces)} pieces")
    if any(j.kind == "end" for j in found.joints) and not may_end:
        out.append("a lead ends freely")
    lengths = [LineString(c.path).length for c in found.cames]
    if min(lengths) < LEAST_CAME_MM:
        out.append(f"a came of {min(lengths):.1f} mm")
    graph = nx.MultiGraph()
    graph.add_nodes_from(range(len(found.joints)))
    graph.add_edges_from((c.start, c.end) for c in found.cames)
    parts = nx.number_connected_components(graph)
    if len(found.joints) - len(found.cames) + len(found.pieces) != parts:
        out.append("the graph is not planar")
    return out or _slivers(found, leads)


def _slivers(found: Network, leads: list[Lead]) -> list[str]:
    """Return the first piece of which too little is seen between the leads, or in two parts."""
    bands = [
        LineString(c.path).buffer(leads[c.lead].face_mm / 2, quad_segs=2, cap_style="flat")
        for c in found.cames
    ]
    tree = shapely.STRtree(bands)
    for p in found.pieces:
        seen = p.difference(shapely.union_all([bands[k] for k in tree.query(p)]))
        if seen.buffer(-LEAST_GLASS_MM / 2).is_empty:
            return [f"a sliver at {p.representative_point()}"]
        parts = shapely.get_parts(seen.buffer(-LEAST_NECK_MM / 2))
        if (shapely.area(parts) > CRUMB_MM2).sum() > 1:
            return [f"a neck of glass that would break at {p.representative_point()}"]
    return []


def _aged(leads: list[Lead], rng: Rng) -> list[Lead]:
    """Bend the panel as time did: small waves, a sag, a lean; origin at the lower left."""
    size = leads[0].run.max(axis=0)
    cell = 20.0
    shape = tuple(math.ceil(s / cell) + 8 for s in size[::-1])
    waves = [gaussian_filter(rng.normal(size=shape), 3.0) for _ in range(2)]
    amount = rng.uniform(0.08, 0.3)
    sag, lean = rng.uniform(0, 2.0), rng.normal(0, 0.003)

    def bent(p: Array) -> Array:
        at = (p[:, ::-1] / cell + 4).T
        d = [map_coordinates(v / v.std() * amount, at, order=3) for v in waves]
        x = p[:, 0] + d[0] + lean * p[:, 1]
        y = p[:, 1] + d[1] - sag * np.sin(np.pi * p[:, 0] / size[0]) * (0.3 + p[:, 1] / size[1])
        return np.column_stack((x, y))

    out = [replace(x, run=bent(_fine(x))) for x in leads]
    low = out[0].run.min(axis=0)
    return [replace(x, run=x.run - low) for x in out]


def _fine(lead: Lead) -> Array:
    p = np.array(shapely.segmentize(LineString(lead.run), 2.0).coords)
    if lead.closed:
        p[-1] = p[0]
    return p


def outer_of(leads: list[Lead]) -> Polygon:
    """Return the panel's outline along the middle of the border's lead."""
    return Polygon(leads[0].run)
