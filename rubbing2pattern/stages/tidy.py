"""Tidy the raw net: weigh its lines, centre them on the lead, settle joints and curves."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.curves import Curve
from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.fitting.primitives import Fit
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, NetCame, NetJoint, RawNet, Rubbing
from rubbing2pattern.tidying.corners import split_at_corners
from rubbing2pattern.tidying.evidence import drop_clearly_false, ink_along
from rubbing2pattern.tidying.gaps import cut_unseen
from rubbing2pattern.tidying.knots import untie
from rubbing2pattern.tidying.refine import Track, refine
from rubbing2pattern.tidying.settle import Chain, chains, curve_of, fit_all, solve_joints
from rubbing2pattern.tidying.stubs import hidden, reach_of_solder
from rubbing2pattern.tidying.web import Web


def tidy(
    net: RawNet, lead: LeadMap, rubbing: Rubbing, options: TidyOptions | None = None
) -> LeadNet:
    """Return the clean planar graph of lead lines.

    Rules:

    1. lines with hardly any band under them are removed, weakest first, and what they parted is
       joined;
    2. every line left is centred on its lead in the full picture, stretches where no lead goes on
       are cut out, and the rest is weighed again;
    3. parts that hang together with nothing and are short are writing, not lead;
    4. strands are cut at corners; crossings pulled apart by solder are put together;
    5. leads that run through a joint are taken as one run and fitted with lines, arcs or cubics;
    6. joints are put where the fitted curves meet.

    Raises
    ------
    NoLeadFound
        when nothing is left.
    """
    options = options or TidyOptions()
    web = Web.of(net)
    drop_clearly_false(web, lead, options.seen_above, options.clearly_false)  # rule 1
    tracks: dict[int, Track] = {}
    _refine_new(web, tracks, rubbing, lead, options)  # rule 2
    while cut_unseen(web, tracks, options):
        _refine_new(web, tracks, rubbing, lead, options)
    _drop_false(web, tracks, rubbing, lead, options)
    _drop_writing(web, options)  # rule 3
    if not web.strands:
        raise NoLeadFound(
            "no lead lines found: the picture has dark bands, but none holds together over "
            f"{options.smallest_part_mm:.0f} mm"
        )
    _centre_paths(web, tracks, options)
    split_at_corners(web, options.corner_deg, options.chord_mm, options.chord_widths)  # rule 4
    _join_loose(web, options)
    _refine_new(web, tracks, rubbing, lead, options)
    follows = untie(web, tracks, lead, options)
    runs = chains(web, follows)  # rule 5
    fits = fit_all(web, tracks, runs, rubbing, lead, options)
    misfit = solve_joints(web, fits, runs, options)  # rule 6
    return _lead_net(web, tracks, runs, fits, misfit, rubbing, options)


def _refine_new(
    web: Web, tracks: dict[int, Track], rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> None:
    for k in sorted(web.strands):
        if k not in tracks:
            strand = web.strands[k]
            clear = (reach_of_solder(web, strand.a, options), reach_of_solder(web, strand.b, options))
            tracks[k] = refine(strand, clear, rubbing, lead, options)
            strand.width_mm = tracks[k].width_mm


def _drop_false(
    web: Web, tracks: dict[int, Track], rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> None:
    """Remove the weakest strand as long as it is too weak, and weigh what it leaves joined anew."""
    support: dict[int, float] = {}
    while True:
        for k in web.strands:
            if k not in support:
                support[k] = _support(web, k, tracks, lead, options)
        weak = min(((support[k], k) for k in web.strands), default=(1.0, -1))
        if weak[0] > options.false_below:
            return
        web.remove(weak[1])
        _refine_new(web, tracks, rubbing, lead, options)


def _support(
    web: Web, k: int, tracks: dict[int, Track], lead: LeadMap, options: TidyOptions
) -> float:
    """How sure a strand is lead, on the scale of the band response.

    A short link between two joints lies in solder and wide leads, where no flank can be seen. There
    the ink along it decides: between inked ends it must not dip.
    """
    strand = web.strands[k]
    response = float(np.clip(tracks[k].response, 0.0, 1.0).mean())
    if strand.length_mm > options.link_mm:
        return response
    ink = ink_along(strand.path, lead)
    kept = float(np.percentile(ink, 10.0)) / max(float(np.percentile(ink, 90.0)), 0.4)
    by_ink = options.false_below * kept / options.link_ink
    return max(response, by_ink)


def _drop_writing(web: Web, options: TidyOptions) -> None:
    for part in web.parts()[1:]:
        strands = {k for n in part for k in web.incident[n]}
        if sum(web.strands[k].length_mm for k in strands) < options.smallest_part_mm:
            for k in sorted(strands):
                web.remove(k, join=False)


def _centre_paths(web: Web, tracks: dict[int, Track], options: TidyOptions) -> None:
    """Put every path on the measured centres; its ends stay tied to the joints.

    A short link in solder shows no flanks to be centred between, so it stays where it is.
    """
    for k, strand in web.strands.items():
        if hidden(web, k, tracks, options):
            continue
        points = np.array(tracks[k].points)
        if strand.a == strand.b:
            points[-1] = points[0]
        else:
            points[0], points[-1] = strand.path[0], strand.path[-1]
        strand.path = evenly(points, 0.5)


def _join_loose(web: Web, options: TidyOptions) -> None:
    """Join two strands that meet alone where there is no corner."""
    for node in sorted(web.incident):
        ends = web.ends_at(node) if node in web.incident else []
        if len(ends) != 2 or ends[0][0] == ends[1][0]:
            continue
        arms = []
        for end in ends:
            path = web.away(*end)
            arms.append(path[min(len(path) - 1, 16)] - path[0])
        cosine = float(arms[0] @ arms[1]) / max(float(np.hypot(*arms[0]) * np.hypot(*arms[1])), 1e-9)
        if np.degrees(np.arccos(np.clip(-cosine, -1, 1))) < options.corner_deg - 5.0:
            web.join(node)


def _lead_net(
    web: Web,
    tracks: dict[int, Track],
    runs: list[tuple[Chain, bool]],
    fits: dict[int, Fit],
    misfit: dict[int, float],
    rubbing: Rubbing,
    options: TidyOptions,
) -> LeadNet:
    number = {node: i for i, node in enumerate(sorted(web.incident))}
    joints = tuple(
        NetJoint(
            float(web.nodes[n][0]),
            float(web.nodes[n][1]),
            "",
            max(0.05, 0.5 * misfit[n]),
        )
        for n in sorted(web.incident)
    )
    strip = {k: i for i, (chain, _) in enumerate(runs) for k, _ in chain}
    cames = []
    for k in sorted(web.strands):
        strand, track = web.strands[k], tracks[k]
        curve: Curve = curve_of(web, k, fits[k], options)
        response = np.clip(track.response, 0.0, 1.2)
        cames.append(
            NetCame(
                number[strand.a],
                number[strand.b],
                curve,
                strip[k],
                shown_width_mm=track.width_mm,
                seen_share=float((track.response > 0.35).mean()),
                contrast=float(response.mean()),
            )
        )
    return LeadNet(joints, tuple(cames), rubbing.scale, findings=rubbing.findings)
