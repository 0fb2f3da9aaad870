"""Trace the skeleton into a planar graph.

Words of this module: a *crack* is the side between two neighbouring cells of different basins; its
ends are *corners* of cells. A corner where three cracks or more meet is a node; a chain of cracks
between nodes is an edge. A closed chain without a node gets one at its topmost corner.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array, Frame
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.trace import TraceOptions
from rubbing2pattern.reading import RawNet, Skeleton

Ints = npt.NDArray[np.int64]


def trace(skeleton: Skeleton, options: TraceOptions | None = None) -> RawNet:
    """Return the planar graph whose faces are the basins, with the free branches as edges.

    Cracks make the graph exact: every edge knows the basin on either side, and no thinning can
    fray it. Positions are smoothed along each edge; nodes stay, except the seam of a lone ring.
    """
    options = options or TraceOptions()
    basins = skeleton.basins
    chains, sides = _chains(basins)
    outside = int(basins[0, 0])
    sides = np.where(sides == outside, 0, sides)
    index: dict[tuple[int, int], int] = {}
    tied = Counter(corner for chain in chains for corner in (_corner(chain, 0), _corner(chain, -1)))
    ends, paths, seams = [], [], {}
    for chain in chains:
        first = index.setdefault(_corner(chain, 0), len(index))
        last = index.setdefault(_corner(chain, -1), len(index))
        # A ring tied to nothing is smoothed all round, and its seam goes along.
        ring = first == last and tied[_corner(chain, 0)] == 2
        path = _smoothed(_to_mm(skeleton.frame, chain), options.smooth_mm, ring)
        if ring:
            seams[first] = path[0]
        ends.append((first, last))
        paths.append(path)
    nodes = _to_mm(skeleton.frame, np.array(list(index), dtype=np.float64).reshape(-1, 2))
    for node, place in seams.items():
        nodes[node] = place
    net = RawNet(nodes, np.array(ends, dtype=np.int64).reshape(-1, 2), tuple(paths), sides)
    return _with_branches(net, skeleton, options)


def _corner(chain: Ints, at: int) -> tuple[int, int]:
    return int(chain[at, 0]), int(chain[at, 1])


def _to_mm(frame: Frame, corners: npt.NDArray[np.generic]) -> Array:
    """Corner (row, column) lies half a cell before the cell of the same number."""
    c = corners.astype(np.float64)
    return frame.to_mm(np.column_stack((c[:, 1] - 0.5, c[:, 0] - 0.5)))


def _chains(basins: npt.NDArray[np.int32]) -> tuple[list[Ints], Ints]:
    """Return chains of corners (N, 2) row, column and the basins left and right of each chain.

    Left and right are meant with y upwards, walking from the first corner to the last.
    """
    stride = basins.shape[1] + 1
    r, c = np.nonzero(basins[:, :-1] != basins[:, 1:])
    upright = np.column_stack((r * stride + c + 1, (r + 1) * stride + c + 1))
    upright_sides = np.column_stack((basins[r, c + 1], basins[r, c]))
    r2, c2 = np.nonzero(basins[:-1, :] != basins[1:, :])
    level = np.column_stack(((r2 + 1) * stride + c2, (r2 + 1) * stride + c2 + 1))
    level_sides = np.column_stack((basins[r2, c2], basins[r2 + 1, c2]))
    cracks = np.vstack((upright, level)).astype(np.int64)
    sides = np.vstack((upright_sides, level_sides)).astype(np.int64)
    return _walk(cracks, sides, stride)


def _walk(cracks: Ints, sides: Ints, stride: int) -> tuple[list[Ints], Ints]:
    corners, inverse = np.unique(cracks, return_inverse=True)
    inverse = inverse.reshape(cracks.shape)
    meeting = np.bincount(inverse.ravel())
    # The cracks at each corner lie together; of two ends, or two cracks, their sum gives the other.
    at = (np.argsort(inverse, axis=None, kind="stable") // 2).tolist()
    begin = [0, *np.cumsum(meeting).tolist()]
    both = np.bincount(inverse.ravel(), np.repeat(np.arange(len(cracks)), 2)).astype(np.int64)
    degree, both_cracks = meeting.tolist(), both.tolist()
    ends, both_ends = inverse[:, 0].tolist(), inverse.sum(axis=1).tolist()
    used = bytearray(len(ends))
    chains: list[Ints] = []
    chain_sides: list[tuple[int, int]] = []
    for start in [*np.flatnonzero(meeting != 2).tolist(), *range(len(corners))]:
        for first in at[begin[start] : begin[start + 1]]:
            if used[first]:
                continue
            chain, k, here = [start], first, start
            while True:
                used[k] = 1
                here = both_ends[k] - here
                chain.append(here)
                if degree[here] != 2 or here == start:
                    break
                k = both_cracks[here] - k
            # A crack runs from its lower-numbered corner: down, or to the right.
            left, right = int(sides[first, 0]), int(sides[first, 1])
            forward = ends[first] == start
            chain_sides.append((left, right) if forward else (right, left))
            numbers = corners[chain]
            chains.append(np.column_stack((numbers // stride, numbers % stride)))
    return chains, np.array(chain_sides, dtype=np.int64).reshape(-1, 2)


def _smoothed(path: Array, sigma_mm: float, closed: bool) -> Array:
    """Resample to about half a millimetre and smooth; the ends of an open path stay in place."""
    even = evenly(path, 0.5)
    n = len(even)
    sigma = sigma_mm / max(running_length(path)[-1] / (n - 1), 1e-9)
    if n < 5 or sigma < 0.1:
        return even
    if closed:
        ring = ndimage.gaussian_filter1d(even[:-1], sigma, axis=0, mode="wrap")
        return np.vstack((ring, ring[:1]))
    # Reflecting about the end points keeps them and the direction there.
    pad = min(n - 1, int(4 * sigma) + 1)
    head = 2 * even[0] - even[pad:0:-1]
    tail = 2 * even[-1] - even[-2 : -pad - 2 : -1]
    padded = ndimage.gaussian_filter1d(np.vstack((head, even, tail)), sigma, axis=0)
    out = np.array(padded[pad : pad + n])
    # On a path shorter than the filter each end feels the other's reflection.
    out[0], out[-1] = even[0], even[-1]
    return out


def _with_branches(net: RawNet, skeleton: Skeleton, options: TraceOptions) -> RawNet:
    """Add each free branch; an end near a line is tied to the nearest point of it (edge split)."""
    nodes = list(map(tuple, net.nodes.tolist()))
    ends = [tuple(e) for e in net.ends.tolist()]
    paths, sides = list(net.paths), [tuple(s) for s in net.sides.tolist()]
    for branch in skeleton.branches:
        middle = skeleton.frame.to_px(branch[len(branch) // 2][None])[0]
        basin = int(skeleton.basins[round(middle[1]), round(middle[0])])
        tied: list[int] = []
        line = [branch]
        for tip in (0, -1):
            hit = _nearest(paths, branch[tip])
            if hit is not None and hit[2] <= options.attach_mm and _faces(branch, tip, hit):
                node = _split(nodes, ends, paths, sides, hit[0], hit[1])
                line.insert(0 if tip == 0 else len(line), np.array([nodes[node]]))
            else:
                node = len(nodes)
                nodes.append(tuple(branch[tip].tolist()))
            tied.append(node)
        ends.append((tied[0], tied[1]))
        paths.append(_smoothed(np.vstack(line), options.smooth_mm, False))
        sides.append((basin, basin))
    return RawNet(
        np.array(nodes, dtype=np.float64).reshape(-1, 2),
        np.array(ends, dtype=np.int64).reshape(-1, 2),
        tuple(paths),
        np.array(sides, dtype=np.int64).reshape(-1, 2),
    )


Hit = tuple[int, int, float, Array]


def _nearest(paths: list[Array], point: Array) -> Hit | None:
    best: Hit | None = None
    for k, path in enumerate(paths):
        d = np.hypot(path[:, 0] - point[0], path[:, 1] - point[1])
        i = int(d.argmin())
        if best is None or d[i] < best[2]:
            best = (k, i, float(d[i]), path[i])
    return best


def _faces(branch: Array, tip: int, hit: Hit) -> bool:
    """Whether the branch heads for the place hit, within 60 degrees, rather than passing it by."""
    back = branch[min(6, len(branch) - 1)] if tip == 0 else branch[-min(7, len(branch))]
    heading = branch[tip] - back
    way = hit[3] - branch[tip]
    scale = float(np.hypot(*heading) * np.hypot(*way))
    return scale < 1e-9 or float(heading @ way) / scale > 0.5


def _split(
    nodes: list[tuple[float, ...]],
    ends: list[tuple[int, ...]],
    paths: list[Array],
    sides: list[tuple[int, ...]],
    edge: int,
    at: int,
) -> int:
    path = paths[edge]
    if at in (0, len(path) - 1):
        return ends[edge][0 if at == 0 else 1]
    node = len(nodes)
    nodes.append(tuple(path[at].tolist()))
    ends.append((node, ends[edge][1]))
    paths.append(path[at:])
    sides.append(sides[edge])
    ends[edge] = (ends[edge][0], node)
    paths[edge] = path[: at + 1]
    return node
