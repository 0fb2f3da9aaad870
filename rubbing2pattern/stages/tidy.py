"""Tidy the raw net: weigh its lines, centre them on the lead, settle joints and curves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rubbing2pattern.fitting.primitives import Fit
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, NetCame, NetJoint, RawNet, Rubbing
from rubbing2pattern.tidying.closing import close_up, land_first, uncross
from rubbing2pattern.tidying.corners import split_at_corners
from rubbing2pattern.tidying.gaps import bridge_free_ends, cut_unseen
from rubbing2pattern.tidying.knots import Follows, untie
from rubbing2pattern.tidying.onward import follow_edges
from rubbing2pattern.tidying.parts import keep_main_part, refuse_if_stray
from rubbing2pattern.tidying.refine import Track, refine
from rubbing2pattern.tidying.settle import Chain, chains, curve_of, fit_all, solve_joints, tips_of
from rubbing2pattern.tidying.slivers import drop_slivers
from rubbing2pattern.tidying.stubs import hidden, reach_of_solder
from rubbing2pattern.tidying.sureness import with_confidence
from rubbing2pattern.tidying.twins import drop_twins
from rubbing2pattern.tidying.web import Web
from rubbing2pattern.tidying.weighing import drop_clearly_false, drop_false


def tidy(
    net: RawNet, lead: LeadMap, rubbing: Rubbing, options: TidyOptions | None = None
) -> LeadNet:
    """Return the clean planar graph of lead lines.

    Rules:

    1. lines with hardly any band under them are removed, weakest first, and what they parted is
       joined;
    2. every line left is centred on its lead in the full picture, stretches where no lead goes on
       are cut out, and the rest is weighed again;
    3. leads are carried on over gaps; parts tied to nothing go, unless they lie inside the panel
       and are surely lead;
    4. strands are cut at corners; crossings pulled apart by solder are put together;
    5. leads that run through a joint are taken as one run and fitted with lines, arcs or cubics;
    6. joints are put where the fitted curves meet; two that come to lie together are one;
    7. where leads hide all of a face between them, one of them goes, and 5 and 6 are done again;
    8. every lead line that came out of it is weighed once more.

    Raises
    ------
    NoLeadFound
        when nothing is left, or next to nothing of all that is dark.
    """
    options = options or TidyOptions()
    web = Web.of(net, options.elbow_deg)
    drop_clearly_false(web, lead, options)  # rule 1
    tracks: dict[int, Track] = {}
    _refine_new(web, tracks, rubbing, lead, options)  # rule 2
    while cut_unseen(web, tracks, lead, options):
        _refine_new(web, tracks, rubbing, lead, options)
    found = drop_false(
        web, tracks, lambda: _refine_new(web, tracks, rubbing, lead, options), lead, options
    )
    found += bridge_free_ends(web, options)
    found += keep_main_part(web, options)  # rule 3
    _refine_new(web, tracks, rubbing, lead, options)
    refuse_if_stray(web, lead, options)
    _centre_paths(web, tracks, options)
    split_at_corners(web, options.corner_deg, options.chord_mm, options.chord_widths)  # rule 4
    _join_loose(web, options)
    _refine_new(web, tracks, rubbing, lead, options)
    while drop_twins(web, tracks):
        _refine_new(web, tracks, rubbing, lead, options)
    follow_edges(web, tracks, rubbing, lead, options)
    follows = untie(web, tracks, lead, options)
    runs, fits, misfit = _settled(web, tracks, follows, rubbing, lead, options)
    while drop_slivers(web, tracks, fits, follows, options):  # rule 7; ends, as each takes a lead
        runs, fits, misfit = _settled(web, tracks, follows, rubbing, lead, options)
    settled = _lead_net(web, tracks, runs, fits, misfit, rubbing, options)
    settled = replace(settled, findings=settled.findings + found)
    return with_confidence(settled, lead, rubbing, options)  # rule 8


def _settled(
    web: Web,
    tracks: dict[int, Track],
    follows: Follows,
    rubbing: Rubbing,
    lead: LeadMap,
    options: TidyOptions,
) -> tuple[list[tuple[Chain, bool]], dict[int, Fit], dict[int, float]]:
    """Fit the runs of lead (rule 5) and settle the joints (rule 6)."""
    runs = chains(web, follows)
    fits = fit_all(web, tracks, runs, rubbing, lead, options)
    tips = tips_of(web, tracks, fits, runs, options)
    solve_joints(web, fits, tips, runs, options)
    runs = close_up(web, fits, runs, options, options.close_mm)
    solve_joints(web, fits, tips, runs, options)
    runs = uncross(web, fits, runs, options)
    misfit = solve_joints(web, fits, tips, runs, options)
    runs = close_up(web, fits, runs, options, options.same_mm)
    land_first(web, fits, runs, options)
    return runs, fits, misfit


def _refine_new(
    web: Web, tracks: dict[int, Track], rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> None:
    for k in sorted(web.strands):
        if k not in tracks:
            strand = web.strands[k]
            clear = (
                reach_of_solder(web, strand.a, options),
                reach_of_solder(web, strand.b, options),
            )
            tracks[k] = refine(strand, clear, rubbing, lead, options)
            strand.width_mm = tracks[k].width_mm


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
        if web.bend_deg(ends[0], ends[1]) < options.corner_deg - 5.0:
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
        strand = web.strands[k]
        cames.append(
            NetCame(
                number[strand.a],
                number[strand.b],
                curve_of(web, k, fits[k], options),
                strip[k],
                shown_width_mm=tracks[k].width_mm,
            )
        )
    return LeadNet(joints, tuple(cames), rubbing.scale, findings=rubbing.findings)
