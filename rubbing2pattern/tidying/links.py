"""Short links: cames so short that solder and wide neighbours leave little of them to be seen."""

from __future__ import annotations

import math

import numpy as np

from rubbing2pattern.fitting.primitives import Fit, LineFit
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly, offsets, sample
from rubbing2pattern.reading import LeadMap, Rubbing
from rubbing2pattern.tidying.web import Web


def link_line(
    web: Web, k: int, neighbours: dict[int, list[Fit]], rubbing: Rubbing, lead: LeadMap
) -> LineFit:
    """Return the line of a hidden strand from what shows of it between its neighbours' leaves.

    Strategy: the middle is the centre of the dark between two paler flanks, over the stretch that
    no neighbour's leaf covers. The direction is the mean of three readings, each with the weight
    its length or its custom deserves: the dark centres themselves, the line from joint to joint,
    and square to the neighbours, as short cames are cut.
    """
    strand = web.strands[k]
    start, end = web.nodes[strand.a], web.nodes[strand.b]
    chord = end - start
    length = max(float(np.hypot(*chord)), 1e-6)
    along = chord / length
    base = evenly(np.array([start, end]), 0.5)
    covered = [_half_leaf(web, k, n) for n in (strand.a, strand.b)]
    s = np.linspace(0.0, length, len(base))
    # Between wide leads hardly anything shows: then the millimetre midway between their leaves.
    midway = 0.5 * (covered[0] + length - covered[1])
    reach = max(0.5 * (length - covered[0] - covered[1]), 0.55)
    shows = np.abs(s - np.clip(midway, 0.0, length)) <= reach
    centres, width = _dark_centres(base[shows], along, rubbing, lead)
    strand.width_mm = width
    seen_mm = float(np.hypot(*(centres[-1] - centres[0])))
    readings = [(along, 1.0 / math.radians(20.0) ** 2 * min(length / 12.0, 2.0))]
    if seen_mm > 1.0:
        own = (centres[-1] - centres[0]) / seen_mm
        readings.append((own, (seen_mm / 0.6) ** 2))
    for fits in neighbours.values():
        for fit in fits:
            tangent = fit.near(centres.mean(axis=0))[1]
            square = np.array([-tangent[1], tangent[0]])
            square = square if float(square @ along) >= 0 else -square
            if float(square @ along) > math.cos(math.radians(35.0)):
                readings.append((square, 1.0 / math.radians(10.0) ** 2 / len(fits)))
    mean = sum(w * d for d, w in readings)
    direction = np.asarray(mean) / max(float(np.hypot(*np.asarray(mean))), 1e-9)
    return LineFit(centres.mean(axis=0), direction)


def _half_leaf(web: Web, k: int, node: int) -> float:
    widths = [web.strands[other].width_mm for other, _ in web.ends_at(node) if other != k]
    return 0.5 * max(widths, default=0.0) + 0.3


def _dark_centres(
    base: Array, along: Array, rubbing: Rubbing, lead: LeadMap
) -> tuple[Array, float]:
    """Centres of the dark band across short profiles, and its median width."""
    normal = np.tile(np.array([-along[1], along[0]]), (len(base), 1))
    off = offsets(9.0, 0.2)
    profile = sample(rubbing, lead, base, normal, off).density
    kernel = np.ones(3) / 3.0
    centres, widths = [], []
    for row, place in zip(profile, base, strict=True):
        smooth = np.convolve(row, kernel, mode="same")
        level = 0.5 * (float(np.percentile(smooth, 90.0)) + float(smooth.min()))
        dark = smooth > level
        zero = len(off) // 2
        near = np.nonzero(dark[zero - 15 : zero + 16])[0]
        if not near.size:
            continue
        first = zero - 15 + int(near[np.abs(near - 15).argmin()])
        left = first
        while left > 0 and dark[left - 1]:
            left -= 1
        right = first
        while right < len(off) - 1 and dark[right + 1]:
            right += 1
        if left == 0 or right == len(off) - 1:
            continue
        centres.append(place + 0.5 * (off[left] + off[right]) * normal[0])
        widths.append(off[right] - off[left] + 0.2)
    if not centres:
        return base, 5.0
    return np.array(centres), float(np.median(widths))
