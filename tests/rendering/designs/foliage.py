"""A foliage scroll: a winding stem, branches that curl up, leaves drawn out to points."""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import LineString

from tests.rendering.designs.cutting import Cutter
from tests.rendering.designs.setting_out import Rng, box, leaf, panes, polar, until, widths
from tests.rendering.geometry import Array, Design, Strip, circle, line, smooth


def scroll(rng: Rng) -> Design:
    """Set a stem that winds from side to side, a curl in every bend, leaves on its back.

    Curls leave the stem at a narrow angle; a leaf's two leads start at one joint and meet again
    at its tip.
    """
    field, ornament, border = widths(rng)
    profile = leaf(rng)
    w, bends = rng.uniform(240, 320), int(rng.integers(2, 4))
    lobe = rng.uniform(170, 210)
    h = bends * lobe
    swing, way = w * rng.uniform(0.2, 0.25), float(rng.choice([-1, 1]))
    outline = box(w, h)
    y = np.linspace(0, h, 4 * bends + 1)
    stem = smooth(np.column_stack((w / 2 + way * swing * np.sin(np.pi * y / lobe), y)))
    stem[0, 1], stem[-1, 1] = 0.0, h
    strips = [Strip(outline, border, "flat", True), Strip(stem, ornament, profile)]
    leads = [outline, stem]
    for k in range(bends):
        side = way * (-1) ** k
        at = (w / 2 - side * rng.uniform(0.0, 10), lobe * (k + 0.5) + rng.uniform(-6, 6))
        for run, width in _curl(at, leads, side, lobe, rng):
            strips.append(Strip(run, ornament if width else field, profile))
            leads.append(run)
        for place in rng.permutation([0.3, 0.5, 0.7]).tolist():
            back = np.array((w / 2 + side * swing, lobe * (k + place)))
            for run in _leaf(stem, back, side, leads, rng):
                strips.append(Strip(run, field, profile))
                leads.append(run)
    cutter = Cutter(rng, panes(leads), [p for run in leads[1:] for p in (run[0], run[-1])])
    for _ in range(int(rng.integers(5, 10))):
        run = cutter.split(9.5)
        if run is None:
            break
        strips.append(Strip(run, field, profile))
    return Design("scroll", tuple(strips))


def _curl(
    at: tuple[float, float], leads: list[Array], side: float, lobe: float, rng: Rng
) -> list[tuple[Array, bool]]:
    """Draw a flower's ring, the curl around it out to the stem, and ties across the curl.

    Returns each run and whether it is a main one.
    """
    disc, pitch = rng.uniform(13, 18), rng.uniform(26, 32)
    start, hand = rng.uniform(0, 360), -side
    ring = circle(at, disc, rng.uniform(0, 360))
    turns = np.arange(0.0, 2.6, 0.004)
    spiral = np.array([polar(at, disc + pitch * t, start + hand * 360 * t) for t in turns])
    curl = until(spiral, leads)
    if curl is None or np.hypot(*np.diff(curl, axis=0).T).sum() < lobe:
        return []
    out = [(ring, True), (curl, True)]
    reach = [ring, curl, *leads]
    # In turns along the curl: ties inwards of it start at the ring, ties outwards at the curl.
    for turn, inwards in ((0.64, True), (0.25, False), (0.85, False), (1.15, False)):
        t = turn + rng.uniform(-0.06, 0.06)
        a = start + hand * 360 * t
        base = polar(at, disc if inwards else disc + pitch * t, a)
        tie = until(line(base, polar(at, lobe, a)), reach)
        if tie is None or not 13 < math.dist(tie[0], tie[-1]) < 0.5 * lobe:
            continue
        # Not into the wedge between curl and stem, and clear of the other joints.
        if all(_apart(tie, run, 28.0 if run is curl else 9.0) for run in reach):
            out.append((tie, False))
            reach.append(tie)
    return out


def _apart(run: Array, other: Array, least_mm: float) -> bool:
    """Whether no end of a run comes near an end of another."""
    return all(math.dist(a, b) > least_mm for a in (run[0], run[-1]) for b in (other[0], other[-1]))


def _leaf(stem: Array, near: Array, side: float, leads: list[Array], rng: Rng) -> list[Array]:
    """Draw a leaf on the stem's back and the tie from its tip to the border."""
    base = stem[int(np.argmin(np.hypot(*(stem - near).T))) + int(rng.integers(-30, 31))]
    tip = base + np.array((side * rng.uniform(34, 46), rng.uniform(-34, 34)))
    u = (tip - base) / math.dist(base, tip)
    normal = np.array([-u[1], u[0]])
    full = math.dist(base, tip) * rng.uniform(0.2, 0.28)
    t = np.linspace(0, 1, 90)[:, None]
    swell = np.sin(np.pi * t**0.85)
    edges = [base + (tip - base) * t + normal * s * full * swell for s in (1, -1)]
    others = [LineString(lead) for lead in leads]
    body = LineString(np.vstack((edges[0][25:], edges[1][25:][::-1])))
    if any(body.distance(o) < 7.0 for o in others):
        return []
    tie = until(line(tuple(tip), tuple(tip + u * 400)), leads)
    if tie is None or not all(_apart(tie, lead, 9.0) for lead in leads):
        return []
    return [*edges, tie]
