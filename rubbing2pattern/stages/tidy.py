"""Tidy the raw net: keep what is lead, and lay it as a glazier would."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from rubbing2pattern.curves import polyline_length
from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.laying import Laying, laying
from rubbing2pattern.laying.maps import LeadMaps
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.lines import point_along
from rubbing2pattern.parting.denied import denied_lead
from rubbing2pattern.parting.evidence import evidence_of, highest_near
from rubbing2pattern.parting.landing import landed
from rubbing2pattern.parting.partition import likeliest, reduced
from rubbing2pattern.parting.parts import beyond, main_part
from rubbing2pattern.parting.splitting import split_at_gaps
from rubbing2pattern.reading import LeadMap, LeadNet, RawNet, Rubbing


def tidy(
    net: RawNet,
    lead: LeadMap,
    rubbing: Rubbing,
    options: TidyOptions | None = None,
    as_laid: LayingOptions | None = None,
) -> LeadNet:
    """Return the clean planar graph of lead lines.

    Rules:

    1. boundaries are cut where the map shows no lead for long;
    2. each gets log odds, from the map and the ink; the likeliest partition of all basins says
       which stay;
    3. the largest part that hangs together stays, and what lies inside it; lead beside it is
       reported;
    4. leads are drawn straight under the wide leaves they meet, and laid: runs through joints,
       fitted to their clean stretches, joints where they meet;
    5. every came is as probable as the boundaries it was made from; what was left out though it may
       be lead is a finding;
    6. so is ink that looks like lead where the map sees none;
    7. so is a lead that may lie more than `off_mm` off.

    Raises
    ------
    NoLeadFound
        when nothing is left, or next to nothing of all that looks like lead.
    """
    options = options or TidyOptions()
    line = highest_near(lead, options)
    whole = split_at_gaps(net, line, lead, options)  # rule 1
    odds = evidence_of(whole, line, lead, options).odds
    stays, sure = likeliest(whole, odds, options)  # rule 2
    kept, kept_odds = reduced(whole, stays, sure)
    kept, kept_odds = main_part(kept, kept_odds)  # rule 3
    apart = beyond(kept, lead, options)
    _refuse_if_stray(kept, lead, options)
    straight = landed(kept, line, lead, options)
    laid = laying(straight, rubbing, lead, LeadMaps.of(lead), as_laid)  # rule 4
    left = _left_out(whole, stays, sure, kept, options)
    settled = _with_confidence(laid.net, kept, kept_odds)  # rule 5
    drawn = [came.curve.points() for came in settled.cames]
    denied = denied_lead(drawn, lead, options)  # rule 6
    off = _may_be_off(laid, options)  # rule 7
    return replace(settled, findings=(*settled.findings, *apart, *left, *denied, *off))


def _may_be_off(laid: Laying, options: TidyOptions) -> tuple[Finding, ...]:
    """Report leads of which one in ten lies farther off than `off_mm`."""
    return tuple(
        Finding(
            Code.LEAD_OFF,
            Severity.CHECK,
            f"the lead here may lie up to {bound:.1f} mm beside where it is drawn, for little of "
            "it is seen alone; measure it on the panel.",
            (float(at[0]), float(at[1])),
        )
        for bound, at in zip(laid.stray_mm, laid.stray_at, strict=True)
        if bound > options.off_mm
    )


def _refuse_if_stray(net: RawNet, lead: LeadMap, options: TidyOptions) -> None:
    """Refuse a picture of which hardly anything that looks like a lead line holds together."""
    if not net.paths:
        raise NoLeadFound(
            "no lead lines found: the picture has dark lines, but none holds together as a lead"
        )
    cell_mm = 1.0 / lead.frame.px_per_mm
    seen_mm = float(lead.maps.centre[lead.mask].sum()) * cell_mm * cell_mm / _LINE_MM
    kept_mm = sum(polyline_length(p) for p in net.paths)
    if kept_mm < options.least_seen * seen_mm:
        raise NoLeadFound(
            f"no lead lines found: of {seen_mm:.0f} mm of dark lines only {kept_mm:.0f} mm "
            "close round pieces as leads do; grain of wood, smears or writing look so"
        )


_LINE_MM = 1.88
"""Width of a box as high as the middle of the map's lead line and of the same area."""


def _left_out(
    net: RawNet, stays: np.ndarray, sure: Array, kept: RawNet, options: TidyOptions
) -> tuple[Finding, ...]:
    """Report boundaries inside the panel that were left out, though they may be lead."""
    inner = shapely.union_all([shapely.LineString(p) for p in kept.paths]).envelope
    found = []
    for k in np.flatnonzero(~stays):
        chance = float(_chance(sure[k]))
        path = net.paths[k]
        length = polyline_length(path)
        at = point_along(path, 0.5)
        if chance < options.told_above or length < options.told_mm:
            continue
        if inner.contains(shapely.Point(at)):
            why = (
                f"may be a lead (probability {chance:.2f})"
                if chance < 0.5
                else "look like lead, but are tied to no other lead,"
            )
            text = f"{length:.0f} mm here {why} and are not drawn; look whether a lead runs here."
            found.append(Finding(Code.POSSIBLE_LEAD, Severity.CHECK, text, at))
    return tuple(found)


def _chance(odds: Array | float) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -30.0, 30.0))))


def _with_confidence(net: LeadNet, kept: RawNet, odds: Array) -> LeadNet:
    """Give every came the probability of the boundary that runs beside most of it."""
    lines = shapely.STRtree([shapely.LineString(p) for p in kept.paths])
    chance = _chance(odds)
    cames = []
    for came in net.cames:
        path = came.curve.points()
        places = shapely.points([point_along(path, s) for s in (0.2, 0.35, 0.5, 0.65, 0.8)])
        nearest = lines.query_nearest(places, all_matches=False)[1]
        cames.append(replace(came, confidence=float(np.median(chance[nearest]))))
    return replace(net, cames=tuple(cames))
