"""Heights of the panel in mm, zero at the leaf of a sound lead, on a grid of the sheet.

Strategy: every lead is cut into short straight segments; each segment works out, for the grid
points of its own box, how far they lie from the lead line. A point belongs to the lead whose line
is nearest in units of half its face, and takes that lead's section there: dished, round, leaning,
worn, cracked. Solder is laid over the joints; the glass lies below, each piece with its own skin.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import LineString

from tests.second_hand.circumstances import Circumstances
from tests.second_hand.leadwork import Array, Lead, Rng
from tests.second_hand.network import Network

Field = npt.NDArray[np.float32]

GLASS_MM, BENCH_MM = -1.0, -3.2
EDGE_MM = 0.26
"""Over this width the leaf's edge falls away."""
BESIDE_MM = 1.6
ALONG_MM = 0.5
SHORT_MM = 24.0


@dataclass(frozen=True, slots=True)
class Grid:
    """A raster over the sheet: row 0 on top, `per_mm` points in a mm."""

    width_mm: float
    height_mm: float
    per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return round(self.height_mm * self.per_mm), round(self.width_mm * self.per_mm)

    def at(self, mm: npt.ArrayLike) -> Array:
        """Return (column, row) of points in mm; pixel centres at integers."""
        p = np.asarray(mm, float)
        out = np.empty_like(p)
        out[..., 0] = p[..., 0] * self.per_mm - 0.5
        out[..., 1] = (self.height_mm - p[..., 1]) * self.per_mm - 0.5
        return out

    def fixed(self, mm: npt.ArrayLike) -> npt.NDArray[np.int32]:
        """Return the same for OpenCV's drawing, in sixteenths of a pixel."""
        return np.round(self.at(mm) * 16).astype(np.int32)


@dataclass(frozen=True, slots=True)
class _Section:
    """How a lead's section changes along it, every `ALONG_MM`."""

    low_mm: Array
    lean_mm: Array
    cement_mm: Array
    dish_mm: float
    round_mm: float


def _section(lead: Lead, length: float, c: Circumstances, rng: Rng) -> _Section:
    n = int(length / ALONG_MM) + 3
    noise = gaussian_filter1d(rng.normal(size=n), 12, mode="wrap" if lead.closed else "reflect")
    low = c.uneven_mm * noise / max(noise.std(), 1e-6) + rng.normal(0, 0.06)
    stretch = rng.uniform(8, 36)
    for _ in range(rng.poisson(c.worn_share * length / stretch)):
        at, long = rng.uniform(0, n), rng.uniform(0.4, 1.0) * stretch / ALONG_MM / 2
        low += c.worn_mm * rng.uniform(0.6, 1.2) * np.exp(-(((np.arange(n) - at) / long) ** 4))
    for _ in range(rng.poisson(c.cracks_per_m * length / 1000)):
        at, long = rng.uniform(0, n), rng.uniform(0.5, 1.1) / ALONG_MM
        low += 0.5 * np.exp(-(((np.arange(n) - at) / long) ** 2))
    if length < SHORT_MM:
        # Short ties among solder were dressed level with it.
        low = np.clip(low, -0.1, 0.08)
    lean = c.tilt_mm * gaussian_filter1d(rng.normal(size=n), 80, mode="reflect") * 9
    cement = np.abs(gaussian_filter1d(rng.normal(size=n), 6, mode="reflect")) * 4 * c.cement_mm
    dish = c.hollow_mm * rng.uniform(0.3, 1.0) * min(1.3, lead.face_mm / 8)
    curve = min(0.4, lead.face_mm * rng.uniform(0.02, 0.05)) * (lead.profile == "round")
    return _Section(low, lean, cement, 0.0 if curve else dish, curve)


def relief(leads: list[Lead], found: Network, grid: Grid, c: Circumstances, rng: Rng) -> Field:
    """Return the heights of leads (already placed on the sheet), solder, glass and bench."""
    nearest = np.full(grid.shape, 9.0, np.float32)
    z = _ground(found, grid, c, rng)
    for lead in leads:
        _lay(lead, z, nearest, grid, c, rng)
    _solder(leads, found, z, grid, c, rng)
    return z


def _lay(lead: Lead, z: Field, nearest: Field, grid: Grid, c: Circumstances, rng: Rng) -> None:
    line = LineString(lead.run)
    p = np.array(shapely.simplify(line, 0.01).coords)
    d = np.hypot(*np.diff(p, axis=0).T)
    s0 = np.concatenate(([0.0], np.cumsum(d)))
    section = _section(lead, line.length, c, rng)
    for k in range(len(d)):
        ends = (k == 0 and not lead.closed, k == len(d) - 1 and not lead.closed)
        # Long segments are cut so that a slanting one does not fill a large box.
        m = max(1, int(np.ceil(d[k] / 40)))
        for i in range(m):
            a, b = p[k] + (p[k + 1] - p[k]) * i / m, p[k] + (p[k + 1] - p[k]) * (i + 1) / m
            cut = (ends[0] and i == 0, ends[1] and i == m - 1)
            _segment(a, b, float(s0[k] + d[k] * i / m), cut, lead, section, z, nearest, grid)


def _segment(
    a: Array,
    b: Array,
    s0: float,
    cut: tuple[bool, bool],
    lead: Lead,
    section: _Section,
    z: Field,
    nearest: Field,
    grid: Grid,
) -> None:
    """Give the grid points near one segment their height."""
    half, k = lead.face_mm / 2, grid.per_mm
    reach = half + BESIDE_MM
    ends = grid.at(np.array([a, b]))
    lo = np.maximum(np.floor(ends.min(axis=0) - reach * k).astype(int), 0)
    hi = np.minimum(np.ceil(ends.max(axis=0) + reach * k).astype(int) + 1, grid.shape[::-1])
    if (hi <= lo).any():
        return
    length = float(np.hypot(*(b - a)))
    x = ((np.arange(lo[0], hi[0]) - ends[0, 0]) / k).astype(np.float32)[None, :]
    y = (-(np.arange(lo[1], hi[1]) - ends[0, 1]) / k).astype(np.float32)[:, None]
    u = ((b - a) / length).astype(np.float32)
    t = x * u[0] + y * u[1]
    side = -x * u[1] + y * u[0]
    on = np.clip(t, 0, length)
    d = np.hypot(t - on, side)
    box = (slice(lo[1], hi[1]), slice(lo[0], hi[0]))
    better = (d < reach) & (d / half < nearest[box])
    if cut[0]:
        better &= t > -0.02
    if cut[1]:
        better &= t < length + 0.02
    at = ((s0 + on[better]) / ALONG_MM).astype(int)
    v, w = d[better] / half, np.sign(side[better]) * np.minimum(d[better] / half, 1)
    top = -section.low_mm[at] - section.round_mm * np.minimum(v, 1) ** 2
    top -= section.dish_mm * (1 - np.minimum(v, 1) ** 2)
    top -= np.maximum(0, section.lean_mm[at] * w)
    over = np.clip((d[better] - (half - EDGE_MM / 2)) / EDGE_MM, 0, 1)
    fall = over * over * (3 - 2 * over)
    beside = GLASS_MM + section.cement_mm[at] * np.exp(-(((d[better] - half - 0.6) / 0.45) ** 2))
    low = z[box][better]
    z[box][better] = top * (1 - fall) + np.maximum(low, np.minimum(beside, -0.25)) * fall
    nearest[box][better] = v


def _ground(found: Network, grid: Grid, c: Circumstances, rng: Rng) -> Field:
    """Return glass and bench: each piece at its own height, plain, hammered, seedy or reeded."""
    z = np.full(grid.shape, BENCH_MM, np.float32)
    coarse = cv2.GaussianBlur(rng.normal(size=(400, 400)).astype(np.float32), (0, 0), 2.0)
    hammered = cv2.resize(coarse / coarse.std(), grid.shape[::-1], interpolation=cv2.INTER_CUBIC)
    textured = rng.random() < 0.2 + 0.6 * c.texture
    for p in found.pieces:
        ring = grid.fixed(np.array(p.exterior.coords))
        x, y, w, h = cv2.boundingRect(ring // 16)
        x, y, x1, y1 = max(x, 0), max(y, 0), x + w + 1, y + h + 1
        part = z[y:y1, x:x1]
        mask = np.zeros(part.shape, np.uint8)
        rings = [ring, *(grid.fixed(np.array(r.coords)) for r in p.interiors)]
        cv2.fillPoly(mask, [r - [16 * x, 16 * y] for r in rings], 1, cv2.LINE_8, 4)
        skin = _skin(hammered[y:y1, x:x1], grid.per_mm, c, rng) if textured else 0.0
        height = GLASS_MM + rng.normal(0, 0.1) + skin
        part[mask > 0] = (height * np.ones(part.shape))[mask > 0]
    return z


def _skin(hammered: Field, per_mm: float, c: Circumstances, rng: Rng) -> Field:
    kind, much = int(rng.integers(5)), 0.5 * c.texture * rng.uniform(0.3, 1.0)
    rows, cols = np.indices(hammered.shape, dtype=np.float32) / per_mm
    if kind == 0:
        return np.asarray(much * np.abs(hammered), np.float32)
    if kind == 1:
        turn, pitch = rng.uniform(0, np.pi), rng.uniform(4, 9)
        wave = np.sin(2 * np.pi * (rows * np.sin(turn) + cols * np.cos(turn)) / pitch)
        return np.asarray(1.2 * much * np.maximum(wave, 0), np.float32)
    if kind == 2:
        seeds = (rng.random((hammered.shape[0] // 8 + 1, hammered.shape[1] // 8 + 1)) < 0.012) * 1.0
        big = cv2.resize(seeds, hammered.shape[::-1], interpolation=cv2.INTER_CUBIC)
        return np.asarray(1.6 * much * big, np.float32)
    return np.zeros(hammered.shape, np.float32)


def _solder(
    leads: list[Lead], found: Network, z: Field, grid: Grid, c: Circumstances, rng: Rng
) -> None:
    """Lay a dome with lobes along the leads over each joint."""
    faces: list[list[tuple[float, float]]] = [[] for _ in found.joints]
    room = [np.inf] * len(found.joints)
    for came in found.cames:
        for node, path in ((came.start, came.path), (came.end, came.path[::-1])):
            k = min(len(path) - 1, 3)
            d = path[k] - path[0]
            room[node] = min(room[node], LineString(path).length)
            faces[node].append((leads[came.lead].face_mm, float(np.arctan2(d[1], d[0]))))
    for joint, ways, near in zip(found.joints, faces, room, strict=True):
        if joint.kind in ("ring", "end") or (joint.kind == "corner" and rng.random() < 0.3):
            continue
        if rng.random() < 0.08:
            continue
        # Small work is soldered small.
        share = float(np.clip(near / 28, 0.2, 1))
        _dome((joint.x_mm, joint.y_mm), ways, share, z, grid, c, rng)


def _dome(
    at: tuple[float, float],
    ways: list[tuple[float, float]],
    share: float,
    z: Field,
    grid: Grid,
    c: Circumstances,
    rng: Rng,
) -> None:
    thin = min(w for w, _ in ways)
    r = thin * rng.uniform(0.5, 0.85) + 0.6
    high = share * c.solder_mm * rng.uniform(0.35, 1.1)
    q = grid.at(np.array(at) + rng.normal(0, 0.4, 2))
    n = int(2.4 * r * grid.per_mm) + 2
    lo = np.maximum(np.round(q).astype(int) - n, 0)
    hi = np.minimum(np.round(q).astype(int) + n, grid.shape[::-1])
    x = (np.arange(lo[0], hi[0]) - q[0])[None, :] / grid.per_mm
    y = -(np.arange(lo[1], hi[1]) - q[1])[:, None] / grid.per_mm
    d, turn = np.hypot(x, y), np.arctan2(y, x)
    lobes = sum(np.exp(-((np.angle(np.exp(1j * (turn - a))) / 0.5) ** 2)) for _, a in ways)
    edge = r * (0.8 + rng.uniform(0.2, 0.6) * np.minimum(lobes, 1.2))
    part = z[lo[1] : hi[1], lo[0] : hi[0]]
    dome = high * (1 - (d / edge) ** 2) - 0.04
    fall = np.clip((d / edge - 0.85) / 0.2, 0, 1)
    np.maximum(part, np.where(d < 1.05 * edge, dome - 1.2 * fall, -9), out=part, casting="unsafe")
