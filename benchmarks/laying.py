"""How exactly leads are laid when the partition of the panel is right: ``-m benchmarks.laying``.

The truth of a rendered rubbing is made into what a good lead map gives: pieces that meet on the
middle of what is dark (wedges run together, solder bulges), shifted by a smooth random field, and
maps of the centre line and the leaf. The lead net laid on it is compared with the truth in the
sheet's millimetres, so that errors of the rectification do not count.
"""

from __future__ import annotations

import argparse
import json
import pickle
import shlex
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import shapely
import shapely.ops
from scipy import ndimage
from scipy.optimize import linear_sum_assignment
from shapely.geometry import LineString
from skimage.segmentation import watershed

from benchmarks.alignment import sample
from rubbing2pattern.geometry.frame import Frame, Warp
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.laying import laying
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, RawNet, Rubbing, Skeleton
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.load import load
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace

Array = npt.NDArray[np.float64]

STRAY_MM = 1.0
JOINT_MM = 3.0
SHIFT_MM = 1.5
CENTRE_MM = 0.8


@dataclass(frozen=True, slots=True)
class Case:
    """A rubbing read as far as its lead map, its truth in the sheet's frame, and the raw net."""

    name: str
    rubbing: Rubbing
    lead: LeadMap
    net: RawNet
    cames: list[Array]
    widths_mm: list[float]
    joints: Array


def case_of(folder: Path, kept: Path | None = None) -> Case:
    """Read a rendering, or what was kept of it."""
    file = kept / f"{folder.name}.pickle" if kept else None
    if file and file.exists():
        with file.open("rb") as stream:
            return pickle.load(stream)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    words = shlex.split((folder / "reference.txt").read_text(encoding="utf-8"))
    kind, given = words[0].removeprefix("--"), words[1]
    if kind in ("marks", "targets"):
        given = str(folder / given)
    reference = parse_reference(**{kind: given})
    rubbing = rectify(load(folder / truth["image"], LoadOptions()), reference, RectifyOptions())
    lead = find_lead(rubbing)
    cames = [to_sheet(np.array(c["path"]), truth, rubbing) for c in truth["cames"]]
    widths = [c["shown_width_mm"] or c["face_width_mm"] for c in truth["cames"]]
    joints = np.array([(j["x"], j["y"]) for j in truth["joints"]])
    joints = to_sheet(joints, truth, rubbing)
    degree = np.array([j["degree"] for j in truth["joints"]])
    real = np.array([j["kind"] not in ("end", "ring") for j in truth["joints"]])
    rng = np.random.default_rng(truth["case"]["seed"])
    basins, centre, leaf = stand_ins(lead.frame, cames, widths, joints[degree > 1], rng)
    branches = _branches(truth, cames, rng)
    lead = replace(lead, maps=replace(lead.maps, centre=centre, leaf=leaf))
    net = trace(Skeleton(lead.frame, basins, branches))
    case = Case(folder.name, rubbing, lead, net, cames, widths, joints[real])
    if file:
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("wb") as stream:
            pickle.dump(case, stream)
    return case


def to_sheet(points: Array, truth: dict[str, Any], rubbing: Rubbing) -> Array:
    """Map points (N, 2) of the truth to the millimetres of the rectified sheet, by the pixels."""
    seen = Warp(
        tuple(truth["homography"]), truth["k1"], tuple(truth["centre_px"]), truth["radius_px"]
    )
    return rubbing.warp.to_mm(seen.to_px(points))


def stand_ins(
    frame: Frame, cames: list[Array], widths: list[float], solder: Array, rng: np.random.Generator
) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Return basins, centre map and leaf map as a network would see the leads, (H, W) each.

    The basins meet half-way between what is not dark, so that leads in a wedge are one line.
    """
    shape = (frame.height_px, frame.width_px)
    leaf = np.zeros(shape, np.uint8)
    for path, width in zip(cames, widths, strict=True):
        _draw(leaf, frame, path, width)
    at = np.round(frame.to_px(solder) * 16).astype(np.int32)
    for x, y in at.tolist():
        radius = 0.5 * float(np.median(widths)) * rng.uniform(1.0, 1.8)
        cv2.circle(leaf, (x, y), round(radius * 16 * frame.px_per_mm), 1, -1, cv2.LINE_8, 4)
    line = np.zeros(shape, np.uint8)
    for path in cames:
        _draw(line, frame, path, 1.0 / frame.px_per_mm)
    pieces, count = ndimage.label(line == 0)
    markers = np.zeros(shape, np.int32)
    seen, _ = ndimage.label(leaf == 0)
    for k, box in enumerate(ndimage.find_objects(pieces), start=1):
        inside = (pieces[box] == k) & (leaf[box] == 0)
        if inside.sum() * 4 > np.pi * 3.0**2 and count:
            parts = np.bincount(seen[box][inside])
            big = np.isin(seen[box], np.flatnonzero(parts > 0.2 * parts.max())) & inside
            markers[box][big] = k
    depth = cv2.distanceTransform(leaf, cv2.DIST_L2, 5)
    basins = watershed(depth, markers).astype(np.int32)
    dx, dy = (_wave(shape, frame.px_per_mm, rng) for _ in range(2))
    cols, rows = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    c = np.clip(np.rint(cols + dx), 0, shape[1] - 1).astype(int)
    r = np.clip(np.rint(rows + dy), 0, shape[0] - 1).astype(int)
    moved = basins[r, c]
    moved = _whole(moved)
    cracks = np.ones(shape, np.uint8)
    cracks[:, :-1][basins[:, :-1] != basins[:, 1:]] = 0
    cracks[:-1][basins[:-1] != basins[1:]] = 0
    away = cv2.distanceTransform(cracks, cv2.DIST_L2, 5) / frame.px_per_mm
    centre = np.exp(-0.5 * (away / CENTRE_MM) ** 2).astype(np.float32)
    return moved, centre, cv2.GaussianBlur(leaf.astype(np.float32), (0, 0), 1.0)


def _whole(labels: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Keep the largest part of every label; the specks go to their neighbours."""
    kept = np.zeros_like(labels)
    for k, box in enumerate(ndimage.find_objects(labels), start=1):
        if box is not None:
            parts, count = ndimage.label(labels[box] == k)
            big = 1 + int(np.argmax(np.bincount(parts.ravel())[1:])) if count else 0
            kept[box][(parts == big) & (parts > 0)] = k
    return watershed(np.zeros(labels.shape, np.uint8), kept).astype(np.int32)


def _draw(grid: npt.NDArray[np.uint8], frame: Frame, path: Array, width_mm: float) -> None:
    """Set the cells within half a width of a line."""
    body = shapely.buffer(LineString(path), max(0.5 * width_mm, 0.4), cap_style="round")
    ring = np.round(frame.to_px(np.array(body.exterior.coords)) * 16).astype(np.int32)
    holes = [
        np.round(frame.to_px(np.array(h.coords)) * 16).astype(np.int32) for h in body.interiors
    ]
    cv2.fillPoly(grid, [ring, *holes], 1, cv2.LINE_8, 4)


def _wave(
    shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator
) -> npt.NDArray[np.float32]:
    """Return a smooth random shift in cells, at most about `SHIFT_MM`."""
    noise = rng.normal(size=(shape[0] // 8 + 2, shape[1] // 8 + 2)).astype(np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), 6.0 * px_per_mm / 8)
    soft *= 0.4 * SHIFT_MM * px_per_mm / max(float(soft.std()), 1e-9)
    limit = SHIFT_MM * px_per_mm
    return np.clip(cv2.resize(soft, shape[::-1]), -limit, limit)


def _branches(
    truth: dict[str, Any], cames: list[Array], rng: np.random.Generator
) -> tuple[Array, ...]:
    """Return the leads that end freely, roughly."""
    out = []
    for came, path in zip(truth["cames"], cames, strict=True):
        kinds = [truth["joints"][came[e]]["kind"] for e in ("start", "end")]
        if "end" in kinds:
            body = LineString(path if kinds[0] != "end" else path[::-1])
            seen = shapely.ops.substring(body, 4.0, body.length)
            out.append(np.array(seen.coords) + rng.normal(0, 0.4, 2))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Figures:
    """What came of one case.

    Attributes
    ----------
    p95_mm, p50_mm : of the distance between true and laid lead lines, both ways, within 3 mm.
    strayed : true cames that lie more than 1 mm off anywhere.
    cames : number of true cames.
    recall, precision : of joints, within 3 mm.
    extra : laid cames more than 1 mm off anywhere.
    reported : those of `extra` that were stated to be off.
    doubted : all cames stated to be off by more than 1 mm.
    """

    p95_mm: float
    p50_mm: float
    strayed: tuple[int, ...]
    cames: int
    recall: float
    precision: float
    extra: int
    reported: int
    doubted: int


def judged(case: Case, net: LeadNet, stray_mm: Array | None = None) -> Figures:
    """Compare a lead net in the sheet's frame with the truth."""
    laid = [c.curve.points() for c in net.cames]
    away = [_distance(sample(p, 0.5), laid) for p in case.cames]
    back = [_distance(sample(p, 0.5), case.cames) for p in laid]
    every = np.concatenate([d[d <= 3.0] for d in (*away, *back)])
    strayed = tuple(k for k, d in enumerate(away) if d.max() > STRAY_MM)
    extra = [k for k, d in enumerate(back) if d.max() > STRAY_MM]
    joints = real_joints(net)
    d = np.hypot(*(case.joints[:, None] - joints[None]).transpose(2, 0, 1))
    i, j = linear_sum_assignment(np.where(d <= JOINT_MM, d, 1e4))
    met = int((d[i, j] <= JOINT_MM).sum())
    doubted = np.zeros(len(net.cames), bool) if stray_mm is None else stray_mm > STRAY_MM
    return Figures(
        float(np.percentile(every, 95)),
        float(np.median(every)),
        strayed,
        len(case.cames),
        met / max(len(case.joints), 1),
        met / max(len(joints), 1),
        len(extra),
        int(doubted[extra].sum()),
        int(doubted.sum()),
    )


def real_joints(net: LeadNet) -> Array:
    """Return the places of meetings of three cames or more, and of corners, (N, 2)."""
    leaving: dict[int, list[Array]] = {}
    for came in net.cames:
        p = came.curve.points()
        for joint, path in ((came.start, p), (came.end, p[::-1])):
            far = np.hypot(*(path - path[0]).T)
            k = int(np.argmax(far >= min(3.0, far.max())))
            leaving.setdefault(joint, []).append((path[k] - path[0]) / max(far[k], 1e-9))
    at = []
    for k, joint in enumerate(net.joints):
        ways = leaving.get(k, [])
        bent = len(ways) == 2 and float(ways[0] @ ways[1]) > -np.cos(np.radians(25.0))
        if len(ways) > 2 or bent:
            at.append((joint.x_mm, joint.y_mm))
    return np.array(at).reshape(-1, 2)


def _distance(points: Array, lines: list[Array]) -> Array:
    tree = shapely.STRtree([LineString(q) for q in lines])
    _, d = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
    return np.asarray(d)


def show(
    case: Case, net: LeadNet, file: Path, at: Array | None = None, half_mm: float = 25
) -> None:
    """Write a picture: truth green, laid red, raw net blue; round places (N, 2) or as a whole."""
    px = 2.0 if at is None else 9.0
    places = [None] if at is None else list(at)
    tiles = []
    for place in places:
        x0, y0, x1, y1 = case.rubbing.bounds_mm
        if place is not None:
            x0, y0, x1, y1 = (*(place - half_mm), *(place + half_mm))
        frame = Frame.over((x0, y0, x1, y1), px)
        cols, rows = np.meshgrid(np.arange(frame.width_px), np.arange(frame.height_px))
        mm = frame.to_mm(np.column_stack((cols.ravel(), rows.ravel())))
        seen = case.rubbing.warp.to_px(mm).astype(np.float32).reshape(*cols.shape, 2)
        grey = cv2.remap(case.rubbing.photograph.grey, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR)
        tile = cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)
        groups = (
            (list(case.net.paths), (255, 120, 0)),
            (case.cames, (0, 190, 0)),
            ([c.curve.points() for c in net.cames], (0, 0, 255)),
        )
        for lines, colour in groups:
            for line in lines:
                p = np.round(frame.to_px(line) * 16).astype(np.int32)
                cv2.polylines(tile, [p], False, colour, 1, cv2.LINE_AA, 4)
        for joint in net.joints:
            p = np.round(frame.to_px([(joint.x_mm, joint.y_mm)])[0] * 16).astype(int)
            cv2.circle(tile, (int(p[0]), int(p[1])), 48, (200, 0, 200), 1, cv2.LINE_AA, 4)
        tiles.append(tile)
    wide = min(len(tiles), 4)
    while len(tiles) % wide:
        tiles.append(np.full_like(tiles[0], 255))
    rows_of = [np.hstack(tiles[k : k + wide]) for k in range(0, len(tiles), wide)]
    cv2.imwrite(str(file), np.vstack(rows_of))


def main() -> None:
    """Lay every rendering named and print one row for each."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.laying", description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--kept", type=Path, default=None, help="folder for what was read")
    parser.add_argument("--show", type=Path, default=None, help="folder for pictures of strays")
    parser.add_argument("--tidy", action="store_true", help="today's tidying instead")
    args = parser.parse_args()
    total: dict[str, list[Figures]] = {}
    for folder in args.folders:
        case = case_of(folder, args.kept)
        start, stray_mm = time.process_time(), None
        if args.tidy:
            net = tidy(case.net, case.lead, case.rubbing)
        else:
            done = laying(case.net, case.rubbing, case.lead)
            net, stray_mm = done.net, done.stray_mm
        seconds = time.process_time() - start
        f = judged(case, net, stray_mm)
        total.setdefault(folder.name.split("-")[0], []).append(f)
        print(row(folder.name, [f]), f"{seconds:6.2f} s", flush=True)
        if args.show and f.strayed:
            args.show.mkdir(parents=True, exist_ok=True)
            laid = [c.curve.points() for c in net.cames]
            at = []
            for k in f.strayed[:12]:
                p = sample(case.cames[k], 0.5)
                at.append(p[int(_distance(p, laid).argmax())])
            show(case, net, args.show / f"{folder.name}.png", np.array(at))
    for tier, figures in total.items():
        print(row(tier.upper(), figures))


def row(name: str, figures: list[Figures]) -> str:
    """Return one line of the table."""
    cames = sum(f.cames for f in figures)
    lost = sum(len(f.strayed) for f in figures)
    mean = [np.mean([getattr(f, k) for f in figures]) for k in ("p50_mm", "p95_mm")]
    joints = [np.mean([getattr(f, k) for f in figures]) for k in ("recall", "precision")]
    return (
        f"{name:34s} p50 {mean[0]:.3f} p95 {mean[1]:.3f} strayed {lost:3d}/{cames:4d} "
        f"{100 * lost / cames:5.1f} % joints {joints[0]:.3f} {joints[1]:.3f} "
        f"reported {sum(f.reported for f in figures)}/{sum(f.extra for f in figures)} "
        f"of {sum(f.doubted for f in figures)} doubted"
    )


if __name__ == "__main__":
    main()
