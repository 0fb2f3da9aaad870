"""Findings about leads: how probable each is, what was left out, what may lie off its place."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import shapely
from scipy.special import expit

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.curves import points_at, polyline_length, running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.lines import point_along
from rubbing2pattern.parting.partition import Mask
from rubbing2pattern.reading import LeadNet, RawNet


def left_out(
    net: RawNet, stays: Mask, sure: Array, kept: RawNet, options: TidyOptions
) -> tuple[Finding, ...]:
    """Report boundaries inside the panel that were left out, though they may be lead."""
    inner = shapely.MultiLineString(kept.paths).envelope
    doubts = []
    for k in np.flatnonzero(~stays):
        chance = float(expit(sure[k]))
        path = net.paths[k]
        length = polyline_length(path)
        at = point_along(path, 0.5)
        if chance < options.reported_above or length < options.reported_mm:
            continue
        if inner.contains(shapely.Point(at)):
            if chance < 0.5:
                doubts.append(finding_of(Kind.MAYBE_LEAD, at, length_mm=length, chance=chance))
            else:
                doubts.append(finding_of(Kind.LEAD_TIED_TO_NONE, at, length_mm=length))
    return tuple(doubts)


def may_be_off(stray_mm: Array, at: Iterable[Array], options: TidyOptions) -> tuple[Finding, ...]:
    """Report leads that may lie more than `off_mm` off, the worst of those close by for all.

    Leads that meet or run side by side share their doubt: measuring one shows the others.
    """
    reported: list[Finding] = []
    doubts = [(float(mm), (float(x), float(y))) for mm, (x, y) in zip(stray_mm, at, strict=True)]
    for off_mm, place in sorted(doubts, key=lambda d: -d[0]):
        if off_mm <= options.off_mm:
            break
        if all(math.dist(place, f.at) > options.off_apart_mm for f in reported if f.at):
            reported.append(finding_of(Kind.LEAD_OFF, place, off_mm=off_mm))
    return tuple(reported)


def with_confidence(net: LeadNet, kept: RawNet, odds: Array) -> LeadNet:
    """Give every came the probability of the boundary that runs beside most of it."""
    lines = shapely.STRtree([shapely.LineString(p) for p in kept.paths])
    shares = np.array((0.2, 0.35, 0.5, 0.65, 0.8))
    paths = [came.curve.points() for came in net.cames]
    along = [running_length(path) for path in paths]
    places = [points_at(p, s, shares * s[-1]) for p, s in zip(paths, along, strict=True)]
    nearest = lines.query_nearest(shapely.points(np.vstack(places)), all_matches=False)[1].reshape(
        -1, len(shares)
    )
    chances = np.median(expit(odds)[nearest], axis=1).tolist()
    cames = [replace(c, confidence=p) for c, p in zip(net.cames, chances, strict=True)]
    return replace(net, cames=tuple(cames))
