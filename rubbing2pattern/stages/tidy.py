"""Tidy the raw net: keep what is lead, and lay it as a glazier would."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.geometry.curves import polyline_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying import laying
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.denied import denied_lead
from rubbing2pattern.parting.evidence import evidence_of, highest_near, smooth_ink
from rubbing2pattern.parting.landing import landed
from rubbing2pattern.parting.lead_findings import left_out, may_be_off, with_confidence
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
    5. every came is as probable as the boundaries it was made from, a stump that closes a piece as
       one without a stump; what was left out though it may be lead is a finding;
    6. so is ink that looks like lead where the map sees none;
    7. so is a lead that may lie more than `off_mm` off.

    Raises
    ------
    NoLeadFound
        when no lead is left, or hardly any of all that looks like lead.
    """
    options = options or TidyOptions()
    line, ink = highest_near(lead, options), smooth_ink(lead)
    whole = split_at_gaps(net, line, ink, lead, options)  # rule 1
    seen = evidence_of(whole, line, ink, lead, options)
    stays, sure = likeliest(whole, seen.odds, options)  # rule 2
    kept, kept_odds = reduced(whole, stays, np.maximum(sure, seen.alone))  # rule 5
    kept, kept_odds = main_part(kept, kept_odds)  # rule 3
    apart = beyond(kept, lead, options)
    _refuse_if_stray(kept, kept_odds, lead, options)
    straight = landed(kept, line, lead, options)
    laid = laying(straight, rubbing, lead, as_laid)  # rule 4
    left = left_out(whole, stays, sure, kept, options)
    settled = with_confidence(laid.net, kept, kept_odds)  # rule 5
    drawn = [came.curve.points() for came in settled.cames]
    denied = denied_lead(drawn, lead, options)  # rule 6
    off = may_be_off(laid.stray_mm, laid.stray_at, options)  # rule 7
    return replace(settled, findings=(*settled.findings, *apart, *left, *denied, *off))


def _refuse_if_stray(net: RawNet, odds: Array, lead: LeadMap, options: TidyOptions) -> None:
    """Refuse a picture of which little that looks like lead holds together, or little is sure."""
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
            "close round pieces as leads do; this looks like grain of wood, smears or writing"
        )
    sure_mm = sum(polyline_length(p) for p, o in zip(net.paths, odds, strict=True) if o >= _SURE)
    if sure_mm < options.least_sure * kept_mm:
        raise NoLeadFound(
            f"no lead lines found: of {kept_mm:.0f} mm that may be lead lines only {sure_mm:.0f} "
            "mm surely look like lead; this looks like leaves or texture, or the rubbing is too "
            "worn to be read"
        )


_SURE = math.log(9.0)
"""Log odds of what is lead nine times in ten."""
_LINE_MM = 1.88
"""Width of a box as high as the middle of the map's lead line and of the same area."""
