"""Parts of the net tied to nothing: writing, crop marks, the bench, other panels, roundels."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.strokes import drawn_mask
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.paneling.enclosed import enclosed
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.tidying.web import Web


def keep_main_part(web: Web, options: TidyOptions) -> tuple[Finding, ...]:
    """Leave the panel, and what lies inside it and is surely lead. Return what was left out.

    Rules, for every part that is not tied to the longest one:

    1. inside the outline of the longest part, longer than `inner_part_mm`, and more likely lead
       than `inner_part_sure` over its length: it stays, a roundel or a strap lead;
    2. anything else goes; if it is longer than `smallest_part_mm` that is reported;
    3. a strand of the longest part shorter than `overrun_mm` that ends freely outside the outline
       is a stroke of the hand that overran the border: it goes.

    `drop_false` must have given every strand its probability.
    """
    parts = web.parts()
    if not parts:
        return ()
    outline = outline_of(web, parts[0])
    found = []
    for part in parts[1:]:
        strands = sorted({k for n in part for k in web.incident[n]})
        if _belongs(web, strands, outline, options):  # rule 1
            continue
        length_mm = sum(web.strands[k].length_mm for k in strands)
        if length_mm >= options.smallest_part_mm:  # rule 2
            found.append(_separate(web, strands, length_mm))
        for k in strands:
            web.remove(k, join=False)
    _drop_overruns(web, parts[0], outline, options)  # rule 3
    return tuple(found)


def outline_of(web: Web, part: Iterable[int]) -> BaseGeometry:
    """Return everything that the strands of a part enclose, holes filled."""
    strands = sorted({k for n in part for k in web.incident[n]})
    return enclosed(tied_path(web, k) for k in strands)


def tied_path(web: Web, k: int) -> Array:
    """Return the path of a strand from node to node, (N, 2)."""
    strand = web.strands[k]
    return np.vstack((web.nodes[strand.a], strand.path, web.nodes[strand.b]))


def _belongs(web: Web, strands: list[int], outline: BaseGeometry, options: TidyOptions) -> bool:
    lines = shapely.union_all([LineString(web.strands[k].path) for k in strands])
    if not bool(outline.contains(lines)):
        return False
    length = np.array([web.strands[k].length_mm for k in strands])
    sure = np.array([web.strands[k].seen.get("probability", 0.0) for k in strands])
    mean = float((length * sure).sum() / max(float(length.sum()), 1e-9))
    return float(length.sum()) >= options.inner_part_mm and mean >= options.inner_part_sure


def _separate(web: Web, strands: list[int], length_mm: float) -> Finding:
    longest = max(strands, key=lambda k: (web.strands[k].length_mm, -k))
    path = web.strands[longest].path
    place = path[len(path) // 2]
    return Finding(
        Code.SEPARATE_PARTS,
        Severity.CHECK,
        f"dark lines {length_mm:.0f} mm long in all touch the panel nowhere and are left out; "
        "if they are another panel, trace it from a picture of its own",
        (float(place[0]), float(place[1])),
    )


def _drop_overruns(web: Web, part: set[int], outline: BaseGeometry, options: TidyOptions) -> None:
    for node in sorted(part):
        if node not in web.incident or web.degree(node) != 1:
            continue
        k = next(iter(web.incident[node]))
        strand = web.strands[k]
        tip = shapely.Point(web.nodes[node])
        if strand.length_mm < options.overrun_mm and not outline.covers(tip):
            web.remove(k)


def refuse_if_stray(web: Web, lead: LeadMap, options: TidyOptions) -> None:
    """Refuse a picture whose dark bands mostly belong to no lead that was kept.

    Grain of wood, smears and writing give a few chance lines; on a rubbing the leads are most of
    what is dark.

    Raises
    ------
    NoLeadFound
        when nothing is left, or less than `explained` of all cells with a clear band lies on it.
    """
    if not web.strands:
        raise NoLeadFound(
            "no lead lines found: the picture has dark bands, but none holds together as a lead"
        )
    lines = [(s.path, options.leaf_reach * s.width_mm) for s in web.strands.values()]
    band = (lead.band > options.seen_above) & lead.mask
    share = float((band & drawn_mask(lead.frame, lines)).sum()) / max(float(band.sum()), 1.0)
    if share < options.explained:
        raise NoLeadFound(
            f"no lead lines found: only {100.0 * share:.0f} % of the dark bands in the picture run "
            f"on as leads do, at least {100.0 * options.explained:.0f} % should; grain of wood, "
            "smears or writing look so"
        )
