"""What the usual libraries give when chained: local threshold, skeleton, graph, polygonize.

A reference row for the benchmark, not a reader to be used. It is even handed the true perspective
and lens, so that it fails by its tracing alone.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage
from shapely.geometry import LineString
from skimage.filters import gaussian, threshold_local
from skimage.morphology import closing, disk, opening, skeletonize

Array = npt.NDArray[np.float64]

PX_PER_MM = 5.0
BLOCK_MM = 30.0
SMOOTH_MM = 0.7
SPUR_MM = 10.0
AROUND_MM = 20.0


def traced(folder: Path, truth: dict[str, Any]) -> dict[str, Any]:
    """Return a record with joints, cames and pieces of the picture in `folder`."""
    grey = cv2.imread(str(folder / truth["image"]), cv2.IMREAD_GRAYSCALE)
    flat = _rectified(grey, truth)
    block = round(BLOCK_MM * PX_PER_MM) | 1
    flat = gaussian(flat, SMOOTH_MM * PX_PER_MM, preserve_range=True)
    dark = flat < threshold_local(flat, block, method="gaussian") * 0.88
    dark = opening(closing(dark, disk(round(0.6 * PX_PER_MM))), disk(round(1.0 * PX_PER_MM)))
    dark = _without_small(dark, 300.0)
    dark = ~_without_small(~dark, 25.0)
    skeleton = skeletonize(dark)
    width = 2 * ndimage.distance_transform_edt(dark) / PX_PER_MM
    runs = _pruned(_runs(skeleton))
    return _record(runs, width, flat.shape[0])


def _rectified(grey: npt.NDArray[np.uint8], truth: dict[str, Any]) -> npt.NDArray[np.float32]:
    """Resample onto the panel's own millimetres, with a margin, row 0 on top."""
    w = round((truth["width_mm"] + 2 * AROUND_MM) * PX_PER_MM)
    h = round((truth["height_mm"] + 2 * AROUND_MM) * PX_PER_MM)
    y, x = np.mgrid[:h, :w].astype(np.float64)
    mm = np.stack((x / PX_PER_MM - AROUND_MM, (h - 1 - y) / PX_PER_MM - AROUND_MM, np.ones_like(x)))
    q = np.tensordot(np.array(truth["homography"]).reshape(3, 3), mm, 1)
    cx, cy = truth["centre_px"]
    dx, dy = q[0] / q[2] - cx, q[1] / q[2] - cy
    bend = 1 + truth["k1"] * (dx**2 + dy**2) / truth["radius_px"] ** 2
    col, row = (cx + dx * bend).astype(np.float32), (cy + dy * bend).astype(np.float32)
    smooth = cv2.GaussianBlur(grey, (0, 0), 0.4 * truth["px_per_mm"] / PX_PER_MM)
    seen = cv2.remap(smooth, col, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return seen.astype(np.float32)


def _without_small(mask: npt.NDArray[np.bool_], least_mm2: float) -> npt.NDArray[np.bool_]:
    """Return a mask without its patches smaller than an area."""
    patch, _ = ndimage.label(mask, np.ones((3, 3)))
    large = np.bincount(patch.ravel()) >= least_mm2 * PX_PER_MM**2
    large[0] = False
    return np.asarray(large[patch])


def _runs(skeleton: npt.NDArray[np.bool_]) -> list[Array]:
    """Cut the skeleton at its junctions; return runs of pixels (column, row) between nodes.

    A node is the middle of a cluster of pixels with three neighbours or more, or an end.
    """
    s = skeleton.astype(np.uint8)
    near = ndimage.convolve(s, np.ones((3, 3), np.uint8), mode="constant") - 1
    junction, count = ndimage.label((s > 0) & (near >= 3), np.ones((3, 3)))
    middles = np.array(ndimage.center_of_mass(junction > 0, junction, range(1, count + 1)))
    parts, _ = ndimage.label((s > 0) & (junction == 0), np.ones((3, 3)))
    runs = []
    for k, box in enumerate(ndimage.find_objects(parts), 1):
        r, c = np.nonzero(parts[box] == k)
        path = _ordered(np.column_stack((c + box[1].start, r + box[0].start)))
        ends = []
        for tip in (path[0], path[-1]):
            c0, r0 = int(tip[0]), int(tip[1])
            around = junction[max(0, r0 - 1) : r0 + 2, max(0, c0 - 1) : c0 + 2]
            ends.append({int(v) for v in np.unique(around) if v})
        if len(path) == 1 and len(ends[0]) > 1:
            first, last = sorted(ends[0])[:2]
        else:
            first, last = (min(e) if e else 0 for e in ends)
        if first:
            path = np.vstack((middles[first - 1][::-1], path))
        if last:
            path = np.vstack((path, middles[last - 1][::-1]))
        if not first and not last and len(path) > 8 and np.hypot(*(path[0] - path[-1])) < 2:
            path = np.vstack((path, path[:1]))
        if len(path) > 1:
            runs.append(path)
    return runs


def _ordered(pixels: npt.NDArray[np.int64]) -> Array:
    """Return the pixels of one thin run in the order of walking along it."""
    left = {(int(c), int(r)) for c, r in pixels}

    def around(p: tuple[int, int]) -> list[tuple[int, int]]:
        steps = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1))
        return [q for q in ((p[0] + i, p[1] + j) for i, j in steps) if q in left]

    here = next((p for p in sorted(left) if len(around(p)) == 1), min(left))
    path = [here]
    left.discard(here)
    while ways := around(here):
        here = ways[0]
        left.discard(here)
        path.append(here)
    return np.array(path, float)


def _pruned(runs: list[Array]) -> list[Array]:
    """Take away short runs with a free end, over and over, and join what is left."""
    for _ in range(4):
        ends: dict[tuple[float, float], int] = {}
        for p in runs:
            for q in (p[0], p[-1]):
                key = (float(q[0]), float(q[1]))
                ends[key] = ends.get(key, 0) + 1

        def free(q: Array, ends: dict[tuple[float, float], int] = ends) -> bool:
            return ends[float(q[0]), float(q[1])] == 1

        runs = [p for p in runs if len(p) > SPUR_MM * PX_PER_MM or not (free(p[0]) or free(p[-1]))]
    merged = shapely.line_merge(shapely.union_all([LineString(p) for p in runs]))
    return [np.array(g.coords) for g in shapely.get_parts(merged)]


def _record(runs: list[Array], width: npt.NDArray[np.float64], rows: int) -> dict[str, Any]:
    """Return the runs and the faces between them in the form of the program's record."""
    nodes: dict[tuple[float, float], str] = {}
    cames = []
    for p in runs:
        at = np.rint(p).astype(int)
        w = float(np.median(width[at[:, 1], at[:, 0]]))
        mm = np.array(LineString(_mm(p, rows)).simplify(0.3).coords)
        ends = [
            nodes.setdefault((float(q[0]), float(q[1])), f"J{len(nodes) + 1}")
            for q in (p[0], p[-1])
        ]
        cames.append({"start": ends[0], "end": ends[1], "path": mm.tolist(), "face_width_mm": w})
    faces = shapely.get_parts(shapely.polygonize([LineString(c["path"]) for c in cames]))
    places = _mm(np.array(list(nodes)).reshape(-1, 2), rows)
    return {
        "joints": [
            {"id": i, "x": x, "y": y}
            for i, (x, y) in zip(nodes.values(), places.tolist(), strict=True)
        ],
        "cames": cames,
        "pieces": [
            {
                "number": k,
                "outline": np.array(f.exterior.coords).tolist(),
                "holes": [np.array(r.coords).tolist() for r in f.interiors],
            }
            for k, f in enumerate(faces, 1)
        ],
        "findings": [],
    }


def _mm(pixels: Array, rows: int) -> Array:
    return np.column_stack((pixels[:, 0], rows - 1 - pixels[:, 1])) / PX_PER_MM - AROUND_MM
