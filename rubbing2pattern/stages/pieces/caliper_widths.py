"""Widths measured on the lead itself: they set their cames and calibrate those like them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.inputs.calipers import Caliper
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.paneling.lines import LeadLines
from rubbing2pattern.reading import LeadNet, NetCame
from rubbing2pattern.trade.stock import common_widths


@dataclass(frozen=True, slots=True)
class _Read:
    """A caliper with its came, and how much wider it is than the rubbing says."""

    caliper: Caliper
    came: int
    wider_mm: float


def calibrated(
    net: LeadNet, lines: LeadLines, ids: Mapping[int, str], options: PieceOptions
) -> tuple[LeadNet, tuple[Finding, ...]]:
    """Return the net with its widths set and calibrated by callipers.

    Rules:

    1. a caliper belongs to the came it names, or to the nearest lead line within half of its face
       and `caliper_reach_mm`; one that belongs to none is an error;
    2. cames of one common width and one shape of leaf differ alike from their faces, so the
       median of what their calipers add is added to all of them;
    3. a caliper that lies further than `caliper_agree_mm` from that median is reported and
       calibrates nothing; where two alone disagree, neither does;
    4. a came with a caliper has the width of it (the mean of several).

    Parameters
    ----------
    net, lines : levelled net, and its lead lines in the same order.
    ids : id of every came by its index.

    Raises
    ------
    UsageFault
        Naming the row of a caliper that is on no lead.
    """
    index = {name.lower(): c for c, name in ids.items()}
    reads = []
    for caliper in (w for part in options.calipers for w in part.widths):
        c = _came_of(caliper, net, lines, index, options)  # rule 1
        reads.append(_Read(caliper, c, caliper.width_mm - net.cames[c].width_mm))
    kinds = _kinds(net)
    cames = list(net.cames)
    findings = []
    for kind in sorted(set(kinds)):
        own = [r for r in reads if kinds[r.came] == kind and math.isfinite(r.wider_mm)]
        if not own:
            continue
        kept, odd = _agreeing(own, options.caliper_agree_mm)  # rule 3
        findings += [_caliper_finding(r, ids, lines, options) for r in odd]
        for c in [c for c, k in enumerate(kinds) if k == kind and kept]:
            cames[c] = _moved(cames[c], kept, options)  # rule 2
    for c in sorted({r.came for r in reads}):  # rule 4
        widths = [r.caliper.width_mm for r in reads if r.came == c]
        cames[c] = replace(
            cames[c],
            width_mm=float(np.mean(widths)),
            width_uncertainty_mm=options.caliper_uncertainty_mm,
        )
    return replace(net, cames=tuple(cames)), tuple(findings)


def _came_of(
    caliper: Caliper,
    net: LeadNet,
    lines: LeadLines,
    index: Mapping[str, int],
    options: PieceOptions,
) -> int:
    if caliper.at_mm is None:
        if caliper.came.lower() not in index:
            raise UsageFault(
                f"{caliper.row}: there is no came {caliper.came!r} in this panel, which has "
                f"{len(index)} cames; cames.csv lists their ids"
            )
        return index[caliper.came.lower()]
    away = shapely.distance(
        shapely.Point(caliper.at_mm), [shapely.LineString(path) for path in lines.paths]
    )
    c = int(np.argmin(away))
    face_mm = net.cames[c].width_mm
    limit_mm = 0.5 * (face_mm if math.isfinite(face_mm) else 0.0) + options.caliper_reach_mm
    if away[c] > limit_mm:
        x_mm, y_mm = caliper.at_mm
        raise UsageFault(
            f"{caliper.row}: ({x_mm:g}, {y_mm:g}) mm lies {away[c]:.1f} mm off the nearest lead "
            f"line, more than {limit_mm:.1f} mm; give the place in the panel's frame, from its "
            "lower left corner, or name the came"
        )
    return c


def _kinds(net: LeadNet) -> list[tuple[str, int]]:
    """Return shape of leaf and number of the common width of every came."""
    sizes = common_widths(
        [c.width_mm for c in net.cames],
        [min(c.width_uncertainty_mm, 0.3) for c in net.cames],
        [c.curve.length_mm for c in net.cames],
    )
    return [(c.profile, int(k)) for c, k in zip(net.cames, sizes.group, strict=True)]


def _agreeing(reads: list[_Read], agree_mm: float) -> tuple[list[_Read], list[_Read]]:
    middle = float(np.median([r.wider_mm for r in reads]))
    # Two that disagree lie equally far from their median: neither is believed more.
    limit_mm = agree_mm if len(reads) > 2 else 0.5 * agree_mm
    kept = [r for r in reads if abs(r.wider_mm - middle) <= limit_mm]
    return kept, [r for r in reads if r not in kept]


def _moved(came: NetCame, kept: list[_Read], options: PieceOptions) -> NetCame:
    if not math.isfinite(came.width_mm):
        return came
    wider = np.array([r.wider_mm for r in kept])
    spread = 1.4826 * float(np.median(np.abs(wider - np.median(wider))))
    shared = max(spread, options.caliper_like_mm) / math.sqrt(len(wider))
    return replace(
        came,
        width_mm=came.width_mm + float(np.median(wider)),
        width_uncertainty_mm=min(
            math.hypot(shared, options.caliper_like_mm),
            came.width_uncertainty_mm if came.width_uncertainty_mm > 0.0 else math.inf,
        ),
    )


def _caliper_finding(
    read: _Read, ids: Mapping[int, str], lines: LeadLines, options: PieceOptions
) -> Finding:
    return finding_of(
        Kind.CALIPER_DISAGREES,
        read.caliper.at_mm or lines.middles_mm[read.came],
        cames=(ids[read.came],),
        width_mm=read.caliper.width_mm,
        row=read.caliper.row,
        wider_mm=read.wider_mm,
        limit_mm=options.caliper_agree_mm,
    )
