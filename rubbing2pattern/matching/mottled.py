"""Glass on mottled ground, where single pixels and edges say little.

Felt, slate and coarse cloth vary in light as much as clear glass changes it. Three things still
tell glass: its colour, read over a millimetre, for mottled ground keeps its colour while its light
varies; a rim that glints or darkens along a line; and a pattern of the ground that looks veiled.
Each is measured in units of how the bare ground of this picture varies in it.

Legend for shapes: H, W rows and columns of the working picture; h, w those of it reduced.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.ground import (
    Ground,
    Mask,
    Working,
    disc,
    followed,
    largest,
    measured,
)
from rubbing2pattern.reading import Grid

_WIDE_MM = 1.0
"""Width over which colour is read: the grain of pictures and of cloth is finer."""
_FINEST = 0.0012
"""Least spread of colour over that width, of full white: a third of a step of 255."""
_ROUNDS = 4
"""Rounds in which colours that stand out are left out of the spread of the bare ground."""
_MEDIAN = 1.54
"""Median length of a vector of three standard normal numbers."""
_OUT = 3.0
"""Times the usual from which a colour stands out of the bare ground."""
_BARE = 4.0
"""Deviations of colour up to which the ground is followed."""
_BESIDE = 6.0
"""Deviations of colour beside which the ground is not followed."""
_BESIDE_MM = 1.5
"""Ground beside another colour that is not followed: glass begins softly at this width."""
_REFITS = 3
"""Rounds of following the ground and leaving out what is not."""
_SOME = 60_000
"""Places that settle a spread."""
_APART = (4.0, 7.0)
"""Deviations of colour down to which glass goes on, and that it reaches somewhere."""
_HALF = 0.45
"""Share of the strongest difference nearby: the edge of blurred glass."""
_HALF_MM = 2.0
"""How far away that is looked for."""
_LINE_MM = 5.0
"""Length over which a rim is followed in a straight line; its glints are shorter."""
_WAYS = 12
"""Directions in which it is."""
_SPARKLE = 0.25
"""Step of light, as the filter sees it, from which a stronger one says no more."""
_LINES = (3.0, 5.2)
"""Deviations down to which a line goes on, and that it reaches somewhere."""
_ON_LINE = 2.0
"""Deviations, the strongest of a place and its neighbours, by which glass lies on a line: of 175
pieces on felt and slate the least was 2.2, of 142 patches of ground nine in ten stay under 1.7."""
_STEEPEST = 10.0
"""Times the usual step from which a greater one says no more."""
_RIM_MM = 0.8
"""How far from the rim of a mask lines may lie that are meant by it."""
_FILLING = 0.5
"""Radius of the discs that fill a shape, of its greatest depth."""
_WEAK = 0.3
"""Share of what most of a shape differs by, below which a part may be ground."""
_PATCH_MM = 1.5
"""Half the width of the narrowest patch of ground: narrower ones are the blur of an edge."""
_LINE_ALONE = 2.85
"""The same for glass whose colour says nothing."""
_RATHER_FAR = 9.0
"""Deviations of colour that few patches of ground have; one of these 142 had more."""
_FAR = 20.0
"""Deviations of colour that no patch of ground has."""
_VEIL_MM = 2.0
"""Width over which the contrast of the ground's pattern is read."""
_PATTERN_MM = 0.5
"""Detail that counts as pattern."""
_VEILED = (3.0, 6.0)
"""Deviations of contrast down to which glass goes on, and that it reaches somewhere."""
_SIGMA = 1.4826
"""Median deviation to standard deviation, of a normal distribution."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for glass within an outline, in deviations of the bare ground.

    Attributes
    ----------
    line : how far half of the outline or more lies on lines.
    apart : how far the colour of half of what it holds or more is from the ground's.
    """

    line: float
    apart: float

    @property
    def is_glass(self) -> bool:
        """Whether no patch of bare ground looks like it."""
        both = self.line > _ON_LINE and self.apart > _RATHER_FAR
        return both or self.line > _LINE_ALONE or self.apart > _FAR

    @property
    def is_something(self) -> bool:
        """Whether few patches of bare ground look like it."""
        return self.line > _ON_LINE or self.apart > _RATHER_FAR


@dataclass(frozen=True, slots=True)
class Faint:
    """What tells glass on mottled ground, (H, W) each.

    Attributes
    ----------
    shows : bool, where it differs from the ground, and its lines.
    lines : how far each place lies on a line, in deviations of the bare ground.
    apart : how far its colour, read widely, is from the bare ground's, likewise.
    """

    shows: Mask
    lines: Grid
    apart: Grid

    def relief(self, ground: Ground) -> Grid:
        """Return steps of colour (H, W) together with lines, each by the bare ground's own."""
        height = np.minimum(ground.slopes / ground.steps, _STEEPEST) + np.maximum(self.lines, 0.0)
        return np.asarray(height, dtype=np.float32)

    def trimmed(self, lies: Mask, px_per_mm: float) -> Mask:
        """Return what lies on the ground (H, W) without patches of ground that hang on to glass.

        What sticks out of a shape, beyond the discs of half its depth that fill it, and what
        differs far less from the ground than the rest stays only where lines bound it, as they
        bound the corners of glass.
        """
        kept = lies.copy()
        nearby = cv2.dilate(self.lines, disc(_RIM_MM * px_per_mm))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(
            lies.astype(np.uint8), connectivity=4
        )
        for label in range(1, count):
            left, top, width, height, _ = (int(v) for v in stats[label])
            at = (slice(top, top + height), slice(left, left + width))
            own = labels[at] == label
            hangs = _sticking_out(own) | _weak(own, self.apart[at], px_per_mm)
            found, parts, _, _ = cv2.connectedComponentsWithStats(
                hangs.astype(np.uint8), connectivity=4
            )
            rim = own & (cv2.erode(np.pad(own, 1).astype(np.uint8), disc(1.0))[1:-1, 1:-1] == 0)
            for k in range(1, found):
                part = parts == k
                seen = nearby[at][part & rim]
                if len(seen) and float(np.median(seen)) < _ON_LINE:
                    kept[at][part] = False
        return kept

    def evidence(self, ring: Array) -> Evidence:
        """Return what speaks for glass within a closed outline (N, 2) px."""
        at = np.round(ring).astype(np.int32)
        within = np.zeros(self.lines.shape, dtype=np.uint8)
        cv2.fillPoly(within, [at], 1)
        nearby = cv2.dilate(self.lines, np.ones((3, 3), np.uint8))
        rows, columns = (np.clip(at[:, k], 0, within.shape[1 - k] - 1) for k in (1, 0))
        apart = float(np.median(self.apart[within > 0])) if within.any() else 0.0
        return Evidence(float(np.median(nearby[rows, columns])), apart)


def unbent(work: Working, ground: Ground) -> Ground:
    """Return a mottled ground with its colour not drawn towards glass of nearly that colour.

    Starting from its stiff surface, what is left is followed from places whose colour, read
    widely, varies as the bare ground does.
    """
    colour, bare = ground.stiff, ground.bare
    for _ in range(_REFITS):
        agrees = (largest(work.colour - colour) < _OUT * ground.noise.max()) & work.inside
        apart = _apart(work, replace(ground, colour=colour), agrees)
        beside = (apart > _BESIDE).astype(np.uint8)
        near = cv2.dilate(beside, disc(_BESIDE_MM * work.px_per_mm)) > 0
        bare = agrees & (apart < _BARE) & ~near
        colour = ground.stiff + followed(work, work.colour - ground.stiff, bare)
    return measured(work, ground.stiff, colour, bare)


def faint_glass(work: Working, ground: Ground) -> Faint:
    """Return what tells glass on a mottled ground.

    Rules:

    1. Colour read over 1 mm differs: by 7 deviations somewhere, and down to 4 around that, or
       down to half of what is there.
    2. Light changes strongly along 5 mm of a straight line in any direction, whatever the sign
       of the changes, for a rim both glints and darkens.
    3. The pattern has less contrast than that of the bare ground.
    """
    bare, s = ground.bare, work.px_per_mm
    apart = _apart(work, ground, bare)
    near = apart > _HALF * cv2.dilate(apart, disc(_HALF_MM * s))
    lines = _lines(work, bare)
    veiled = _veiled(work, ground)
    shows = _reaching(np.where(near, apart, 0.0), _APART)  # rule 1
    shows |= _reaching(lines, _LINES)  # rule 2
    shows |= _reaching(veiled, _VEILED)  # rule 3
    return Faint(shows & work.inside, lines, apart)


def _weak(own: Mask, apart: Grid, px_per_mm: float) -> Mask:
    """Return where a shape differs far less from the ground than most of it does."""
    weak = own & (apart < _WEAK * float(np.quantile(apart[own], 0.75)))
    patch = disc(_PATCH_MM * px_per_mm)
    return np.asarray(cv2.morphologyEx(weak.astype(np.uint8), cv2.MORPH_OPEN, patch) > 0)


def _sticking_out(own: Mask) -> Mask:
    """Return what the discs of half the greatest depth of a shape do not fill."""
    framed = np.pad(own.astype(np.uint8), 1)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 5)
    radius = _FILLING * float(depth.max())
    away = cv2.distanceTransform((depth < radius).astype(np.uint8), cv2.DIST_L2, 5)
    return own & (away[1:-1, 1:-1] >= radius)


def _apart(work: Working, ground: Ground, bare: Mask) -> Grid:
    """Return by how many deviations colour, read widely, differs from the bare ground's."""
    step = max(1, round(work.px_per_mm))
    h, w = bare.shape
    size = (max(2, w // step), max(2, h // step))
    off = cv2.resize(work.colour - ground.colour, size, interpolation=cv2.INTER_AREA)
    wide = cv2.GaussianBlur(off, (0, 0), _WIDE_MM * work.px_per_mm / step)
    there = cv2.resize(bare.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    if there.sum() < 10:
        return np.zeros((h, w), dtype=np.float32)
    middle, even = _varies(np.asarray(wide[there], dtype=np.float64))
    seen = (wide - middle.astype(np.float32)) @ even.astype(np.float32)
    apart = np.sqrt(np.square(seen).sum(axis=2))
    return np.asarray(cv2.resize(apart, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def _varies(seen: Array) -> tuple[Array, Array]:
    """Return the middle (3,) of colours (N, 3), and what makes their spread even, (3, 3)."""
    seen = seen[:: max(1, len(seen) // _SOME)]
    middle, even = np.median(seen, axis=0), np.eye(3)
    for k in range(_ROUNDS + 1):
        variance, ways = np.linalg.eigh(np.cov((seen - middle).T))
        even = ways @ np.diag(1.0 / np.sqrt(np.maximum(variance, _FINEST**2))) @ ways.T
        if k == _ROUNDS:
            break
        off = np.sqrt(np.square((seen - middle) @ even).sum(axis=1))
        seen = seen[off < _OUT * max(float(np.median(off)) / _MEDIAN, 0.1)]
        middle = seen.mean(axis=0)
    return middle, even


def _lines(work: Working, bare: Mask) -> Grid:
    """Return how far each place lies on a straight line along which light changes."""
    light = np.asarray(work.colour.mean(axis=2), dtype=np.float32)
    dx, dy = cv2.Sobel(light, cv2.CV_32F, 1, 0), cv2.Sobel(light, cv2.CV_32F, 0, 1)
    half = max(2, round(0.5 * _LINE_MM * work.px_per_mm))
    best = np.zeros_like(light)
    for k in range(_WAYS):
        turn = np.pi * k / _WAYS
        across = np.array((np.cos(turn), np.sin(turn)))
        change = np.abs(np.float32(across[0]) * dx + np.float32(across[1]) * dy)
        root = np.sqrt(np.minimum(change, np.float32(_SPARKLE)))
        best = np.maximum(best, cv2.filter2D(root, -1, _stroke(half, across)))
    return _deviations(best, bare)


def _stroke(half: int, across: Array) -> Grid:
    """Return a straight stroke of unit weight, (2 half + 1,) each way."""
    stroke = np.zeros((2 * half + 1, 2 * half + 1), dtype=np.float32)
    along = half * np.array((-across[1], across[0]))
    first, last = (np.round(16.0 * (half + way * along)).astype(int) for way in (-1.0, 1.0))
    ends = [(int(end[0]), int(end[1])) for end in (first, last)]
    cv2.line(stroke, ends[0], ends[1], 1.0, 1, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(stroke, (0, 0), 0.5)
    return np.asarray(soft / soft.sum(), dtype=np.float32)


def _veiled(work: Working, ground: Ground) -> Grid:
    """Return by how many deviations the pattern has less contrast than the bare ground's."""
    s = work.px_per_mm
    light = work.colour.mean(axis=2) / np.maximum(ground.colour.mean(axis=2), np.float32(0.02))
    fine = light - cv2.GaussianBlur(light, (0, 0), _PATTERN_MM * s)
    # The mean of logarithms: a rim or a stroke of paint is strong, but narrow.
    contrast = cv2.GaussianBlur(np.log(np.square(fine) + np.float32(1e-6)), (0, 0), _VEIL_MM * s)
    return _deviations(-contrast, ground.bare)


def _deviations(seen: Grid, bare: Mask) -> Grid:
    some = seen[bare]
    some = some[:: max(1, len(some) // _SOME)]
    if not len(some):
        return np.zeros_like(seen)
    middle = float(np.median(some))
    spread = max(_SIGMA * float(np.median(np.abs(some - middle))), 1e-6)
    return np.asarray((seen - np.float32(middle)) / np.float32(spread), dtype=np.float32)


def _reaching(seen: Grid, least: tuple[float, float]) -> Mask:
    """Return places over the first limit that are connected with one over the second."""
    count, parts = cv2.connectedComponents((seen > least[0]).astype(np.uint8), connectivity=8)
    strong = np.bincount(parts[seen > least[1]], minlength=count) > 0
    strong[0] = False
    return np.asarray(strong[parts])
