"""Lay the leads of a net whose pieces are known as a glazier lays them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.corners import cut_at_corners
from rubbing2pattern.laying.doubt import doubts_of
from rubbing2pattern.laying.joints import Joint, carried, gathered, joints_of, merged
from rubbing2pattern.laying.knots import Knot, knots_of
from rubbing2pattern.laying.net import Laid, curve_between, laid, trimmed
from rubbing2pattern.laying.reread import refitted
from rubbing2pattern.laying.ridge import on_ridge, shown_inside, widths_on
from rubbing2pattern.laying.rows import Mask, cut_short
from rubbing2pattern.laying.runs import Chain, Run, first_runs, no_wider_than_usual, parts_of
from rubbing2pattern.laying.sights import sight_of
from rubbing2pattern.laying.stubs import Stubs, clean_places, outside_solder, solder_at, stubs_of
from rubbing2pattern.laying.tracks import Tracks, tracked
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import LeadMap, LeadNet, NetCame, NetJoint, RawNet, Rubbing


@dataclass(frozen=True, slots=True)
class Laying:
    """Leads as laid, and how far each may be off.

    Attributes
    ----------
    net : joints and cames in the sheet's frame.
    stray_mm : (C,) what the deviation anywhere on a came exceeds with a chance of `stray_chance`.
    stray_at : (C, 2) where each came is most in doubt.
    """

    net: LeadNet
    stray_mm: Array
    stray_at: Array


def laying(
    net: RawNet,
    rubbing: Rubbing,
    lead: LeadMap,
    options: LayingOptions | None = None,
) -> Laying:
    """Lay the leads of a net whose pieces are right, and say how far each may be off.

    1. every edge is centred on its lead, and cut at its corners;
    2. nodes tied by what shows no lead alone are read together; leads run through them where that
       costs least;
    3. every run is a line, else a circle, else a smooth curve, by its clean places;
    4. joints are where the curves cross, butt and meet;
    5. all runs are read again along their curves, by the edges that nothing covers, and 3 and 4
       done again, `settle` times;
    6. cames are cut from the runs at the joints.
    """
    options = options or LayingOptions()
    cut = cut_at_corners(on_ridge(net, lead, options), widths_on(net, lead), options)
    tracks = tracked(list(cut.paths), rubbing, lead, options)
    solder = solder_at(cut.ends, len(cut.nodes), tracks.width_mm, options)
    outside = outside_solder(tracks.rows, solder, cut.ends)
    tracks = replace(tracks, ridge_mm=np.where(outside, tracks.ridge_mm, np.inf))
    clean = clean_places(tracks, solder, cut.ends, options)
    stubs = stubs_of(tracks, clean, options)
    shown = shown_inside(tracks.rows, lead, options)
    plain: set[int] = set()
    fitted: dict[Chain, Run] = {}
    while True:
        plan = _Plan.of(cut, tracks, clean, stubs, plain, fitted, options)
        found = plan.joints(plan.runs, {}, options)
        failed = {n for i, knot in enumerate(plan.knots) if i not in found for n in knot.nodes}
        current = plan.laid(plan.runs, found, options)
        failed |= _not_drawn(plan.knots, current, shown, options.undrawn_mm)
        if not failed - plain:
            break
        plain |= failed
    for _ in range(options.settle):
        sight = sight_of(current, rubbing, lead, options)
        runs = refitted(current, sight, options)
        found = plan.joints(runs, found, options)
        current = plan.laid(runs, found, options)
    sight = sight_of(current, rubbing, lead, options)
    doubts = doubts_of(current, sight, list(cut.paths), options)
    return Laying(_finished(current, rubbing, options), doubts.stray_mm, doubts.at)


def _not_drawn(knots: list[Knot], net: Laid, shown: list[Array], undrawn_mm: float) -> set[int]:
    """Return the nodes of knots in which the ridge shows lead that is not drawn.

    Where two leads cross at a flat angle there is one ridge between them, and none is drawn there.
    """
    drawn = [trimmed(net, k) for k in range(len(net.runs))]
    owner = np.repeat(np.arange(len(drawn)), [len(p) for p in drawn])
    lines = shapely.STRtree(cut_short(np.vstack(drawn), owner, len(drawn)).drawn)
    out: set[int] = set()
    for knot in knots:
        places = [shown[k] for k in knot.inner if len(shown[k]) and k not in knot.crossed]
        if places:
            found = lines.query_nearest(shapely.points(np.vstack(places)), return_distance=True)
            if float(found[1].max()) > undrawn_mm:
                out |= set(knot.nodes)
    return out


@dataclass(frozen=True, slots=True)
class _Plan:
    """Which leads run through which knots; stays while places are read again and again."""

    nodes: Array
    knots: list[Knot]
    stubs: Stubs
    runs: list[Run]
    run_of: dict[int, tuple[int, bool]]

    @classmethod
    def of(
        cls,
        net: RawNet,
        tracks: Tracks,
        clean: Mask,
        stubs: Stubs,
        plain: set[int],
        fitted: dict[Chain, Run],
        options: LayingOptions,
    ) -> _Plan:
        rows = tracks.rows
        clear = np.bincount(rows.owner, clean, len(net.paths)).astype(np.float64)
        clear *= options.step_mm
        knots = knots_of(net.ends, rows.length_mm, clear, stubs, plain, options)
        chains = parts_of(len(net.paths), knots)
        new = [chain for chain in chains if chain not in fitted]
        fitted.update(zip(new, first_runs(new, tracks, clean, options), strict=True))
        runs = [fitted[chain] for chain in chains]
        runs = no_wider_than_usual(runs, options)
        run_of: dict[int, tuple[int, bool]] = {}
        for number, (parts, _) in enumerate(chains):
            for k, forward in parts:
                run_of[2 * k] = (number, not forward)
                run_of[2 * k + 1] = (number, forward)
        return cls(net.nodes, knots, stubs, runs, run_of)

    def joints(
        self, runs: list[Run], before: dict[int, list[Joint]], options: LayingOptions
    ) -> dict[int, list[Joint]]:
        """Return the joints of every knot by its number.

        A knot whose leads do not fit together keeps the joints it had `before`, if any; one of
        a single node all that comes to it.
        """
        out: dict[int, list[Joint]] = {}
        places = [self.nodes[list(knot.nodes)] for knot in self.knots]
        centres = np.array([nodes.mean(axis=0) for nodes in places])
        all_found = joints_of(self.knots, runs, self.run_of, self.stubs, centres, options)
        for i, (knot, nodes, found) in enumerate(zip(self.knots, places, all_found, strict=True)):
            if found is None and i in before:
                found = [carried(j, runs, options.same_place_mm) for j in before[i]]
            if found is not None and _near(found, nodes, options.reach_mm):
                out[i] = found
            elif len(nodes) == 1:
                out[i] = [gathered(knot, runs, self.run_of, centres[i])]
        return out

    def laid(self, runs: list[Run], found: dict[int, list[Joint]], options: LayingOptions) -> Laid:
        """Return the runs with all joints of the knots, near ones made one."""
        joints = [joint for i in range(len(self.knots)) for joint in found.get(i, [])]
        return laid(runs, merged(joints, runs, options), options)


def _near(joints: list[Joint], nodes: Array, reach_mm: float) -> bool:
    """Whether joints lie about the nodes they come from; prolonged curves may meet anywhere."""
    return all(float(np.hypot(*(nodes - j.place).T).min()) <= reach_mm for j in joints)


def _finished(net: Laid, rubbing: Rubbing, options: LayingOptions) -> LeadNet:
    joints = tuple(
        NetJoint(float(p[0]), float(p[1]), "", max(options.same_mm, float(m)))
        for p, m in zip(net.places, net.misfit_mm, strict=True)
    )
    cames = []
    for number, (run, stops) in enumerate(zip(net.runs, net.stops, strict=True)):
        for one, two in pairwise(stops):
            start, end = net.places[one.joint], net.places[two.joint]
            curve = curve_between(run.shape, one, two, (start, end), options)
            cames.append(NetCame(one.joint, two.joint, curve, number, shown_width_mm=run.width_mm))
    return LeadNet(joints, tuple(cames), rubbing.scale, findings=rubbing.findings)
