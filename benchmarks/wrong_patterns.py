"""How often loose glass shows that a pattern is wrong: panels made wrong on purpose.

``python -m benchmarks.wrong_patterns --designs mosaic,hexagons,rose --seeds 1,2``

Glass is cut for the true panel; its outlines are read with 0.1 mm of noise. The pattern strays from
the truth as a tracing does, and then one joint is shifted by 3 mm, or one lead bowed by 2.5 mm. A
fault counts as told when a correction is offered of that joint or lead, or of one that shares a
piece with it. On panels that only stray any correction offered is a false one.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from time import process_time

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from rubbing2pattern.correcting.shapes import curve_through
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import as_point
from rubbing2pattern.inputs.edits import Edit, corrections_of, edit_of
from rubbing2pattern.matching.loose import LoosePiece, Matches, Verdict
from rubbing2pattern.matching.matching_all import match_all
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.pattern_doubts import pattern_asked
from rubbing2pattern.matching.pattern_evidence import Asked
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.workflows.corrected_panel import apply_corrections
from rubbing2pattern.workflows.pattern import offered_edits
from tests.loose_glass.glass import TrueOpening, cut_for
from tests.panels import Lead, build, mosaic
from tests.second_bench.panes import cut_glass
from tests.second_hand.designs import draw

STRAY_MM = 0.2
NOISE_MM = 0.1
SHIFT_MM, BOW_MM = 3.0, 2.5
LEAST_LEAD_MM = 25.0
"""Shorter leads are not bowed."""


@dataclass
class Tally:
    """Sums over benches."""

    told: int = 0
    exact: int = 0
    wrong: int = 0
    false: int = 0
    right: int = 0
    pieces: int = 0
    off_mm: list[float] = field(default_factory=list)
    before: int = 0
    after: int = 0
    beyond: int = 0
    worse: int = 0
    seconds: float = 0.0

    def line(self) -> str:
        """Return the figures in one line."""
        off = float(np.percentile(self.off_mm, 95)) if self.off_mm else math.nan
        return (
            f"told {self.told}/{self.wrong} of itself {self.exact} off {off:.2f} mm  "
            f"false {self.false} on {self.right} right panels of {self.pieces} pieces  "
            f"glass that does not fit {self.before} -> {self.after}, worse {self.worse}  "
            f"besides {self.beyond}  {self.seconds:.1f} s"
        )


def panel_of(design: str, seed: int) -> Panel:
    """Return a panel of exact lines."""
    if design == "mosaic":
        return mosaic(60, 500.0, 600.0, seed=seed)
    leads, found = draw(design, seed)
    low = np.vstack([c.path for c in found.cames]).min(axis=0)
    names = [f"J{k}" for k in range(1, len(found.joints) + 1)]
    places = [(j.x_mm - float(low[0]), j.y_mm - float(low[1])) for j in found.joints]
    built = []
    for came in found.cames:
        path = np.asarray(came.path) - low
        path[0], path[-1] = places[came.start], places[came.end]
        line = shapely.LineString(path)
        straight = line.length - math.dist(path[0], path[-1]) < 1e-3
        shares = np.linspace(0.0, 1.0, 2 if straight else max(4, round(line.length / 10.0)))
        at = [as_point(p.coords[0]) for p in line.interpolate(shares, normalized=True)]
        ends, lead = (names[came.start], names[came.end]), leads[came.lead]
        built.append(Lead(*ends, curve_through(at), lead.face_mm, "6 mm", came.lead))
    return build(design, dict(zip(names, places, strict=True)), built)


def strayed(panel: Panel, rng: np.random.Generator) -> Panel:
    """Return a panel whose joints stray as those of a tracing."""
    edits = []
    places = np.array([(j.x_mm, j.y_mm) for j in panel.joints])
    for joint in panel.joints:
        far = np.sort(np.hypot(*(places - (joint.x_mm, joint.y_mm)).T))[1]
        if far < 5.0:
            continue
        dx, dy = rng.normal(0.0, STRAY_MM / math.sqrt(2.0), 2)
        edits.append(
            edit_of("move_joint", {"joint": joint.id, "to": [joint.x_mm + dx, joint.y_mm + dy]})
        )
    return _as_read(apply_corrections(panel, corrections_of(edits, "bench", "2026-01-01")).panel)


def _as_read(panel: Panel) -> Panel:
    """Return a panel that states what a tracing states of its joints, not what a person does."""
    joints = (replace(joint, uncertainty_mm=STRAY_MM) for joint in panel.joints)
    return replace(panel, joints=tuple(joints))


def made_wrong(
    panel: Panel, kind: str, there: set[int], rng: np.random.Generator
) -> tuple[Panel, str, set[int]]:
    """Return a panel with one fault, what is wrong, and the pieces around it.

    Of these at least two have their glass on the bench: less can show nothing.
    """
    for _ in range(200):
        name, cames, edits = (_shifted if kind == "joint" else _bowed)(panel, rng)
        near = {n for c in panel.cames if c.id in cames for n in c.pieces}
        if len(near & there) < 2:
            continue
        try:
            done = apply_corrections(panel, corrections_of(edits, "bench", "2026-01-01")).panel
        except UsageFault:
            continue
        if [p.number for p in done.pieces] == [p.number for p in panel.pieces]:
            return _as_read(done), name, near
    raise RuntimeError("no fault can be made")


def _shifted(panel: Panel, rng: np.random.Generator) -> tuple[str, set[str], list[Edit]]:
    joint = panel.joints[int(rng.integers(len(panel.joints)))]
    turn = rng.uniform(0.0, 2.0 * math.pi)
    to = [joint.x_mm + SHIFT_MM * math.cos(turn), joint.y_mm + SHIFT_MM * math.sin(turn)]
    return joint.id, {*joint.cames}, [edit_of("move_joint", {"joint": joint.id, "to": to})]


def _bowed(panel: Panel, rng: np.random.Generator) -> tuple[str, set[str], list[Edit]]:
    long = [c for c in panel.cames if not c.border and c.length_mm > LEAST_LEAD_MM]
    came = long[int(rng.integers(len(long)))]
    a, b = came.path[0], came.path[-1]
    middle = shapely.LineString(came.path).interpolate(0.5, normalized=True).coords[0]
    across = np.array([-(b - a)[1], (b - a)[0]]) / math.dist(a, b)
    there = middle + rng.choice([-1.0, 1.0]) * BOW_MM * across
    laid = {"from": a.tolist(), "to": b.tolist(), "through": [there.tolist()]}
    edits = [
        edit_of("remove_lead", {"came": came.id}),
        edit_of("add_lead", laid | {"width_mm": came.face_width_mm}),
    ]
    return came.id, {came.id}, edits


def glass_for(panel: Panel, hand: str, rng: np.random.Generator) -> list[LoosePiece]:
    """Cut glass for a panel, one piece in ten missing, and lay it anywhere."""
    pieces = []
    for opening in openings_of(panel, STRAY_MM):
        if rng.random() < 0.1 or opening.cut.area < 80.0:
            continue
        if hand == "first":  # it takes the openings of its own hand, and looks at `cut` alone
            glass = cut_for(TrueOpening(0, opening.hearts, opening.cut, opening.sight), rng)
        else:
            glass = cut_glass(opening.cut, rng)
        moved = affinity.rotate(glass, rng.uniform(0, 360), origin=(0, 0))
        ring = shapely.get_coordinates(shapely.segmentize(moved, 1.0).exterior)[:-1]
        noisy = Polygon(ring + rng.normal(0.0, NOISE_MM, ring.shape)).buffer(0)
        shape = max(shapely.get_parts(noisy), key=lambda p: p.area)
        pieces.append(LoosePiece(f"P{opening.number}", "", Polygon(shape.exterior), 0.12))
    return pieces


def not_fitting(matches: Matches) -> int:
    """Return how many pieces do not fit, or lie in another opening than their own."""
    return sum(
        m.verdict is not Verdict.FITS or int(m.piece.id[1:]) not in m.numbers
        for m in matches.matches
    )


def matched(
    pieces: list[LoosePiece], panel: Panel, options: Options, taken: set[int] | None = None
) -> Matches:
    """Match with a panel; openings that are `taken` have their glass already."""
    openings = openings_of(panel, options.match.opening_mm)
    return match_all(pieces, [o for o in openings if o.number not in (taken or ())], options)


def one(design: str, seed: int, hand: str, faults: int, tally: Tally) -> str:
    """Measure one panel: as it is, then with one fault after another."""
    options = Options()
    rng = np.random.default_rng([seed, 91])
    true = panel_of(design, seed)
    panel = strayed(true, rng)
    glass = glass_for(true, hand, rng)
    own = Tally(right=1, pieces=len(panel.pieces))
    matches = matched(glass, panel, options)
    begun = process_time()
    asked = pattern_asked(panel, matches, options.match)
    own.seconds = process_time() - begun
    own.false = len(asked)
    lines = [f"    right panel: {said(asked)}"]
    for k in range(faults):
        kind = ("joint", "lead")[k % 2]
        wrong, name, near = made_wrong(panel, kind, {int(g.id[1:]) for g in glass}, rng)
        around = near.union(*(c.pieces for c in panel.cames if near & set(c.pieces)))
        # The other glass finds its openings as before: leaving it out saves time alone.
        here = [g for g in glass if int(g.id[1:]) in around]
        taken = {int(g.id[1:]) for g in glass} - around
        first = matched(here, wrong, options, taken)
        asked = pattern_asked(wrong, first, options.match)
        about = [a for a in asked if len(near & set(a.numbers)) > 1]
        own.wrong += 1
        own.told += bool(about)
        own.exact += any(a.id == name or (kind == "lead" and a.of_lead) for a in about)
        own.beyond += len(asked) - len(about)
        if kind == "joint":
            at = {j.id: (j.x_mm, j.y_mm) for j in panel.joints}[name]
            own.off_mm += [math.dist(a.to, at) for a in about if a.id == name]
        before = after = not_fitting(first)
        if asked:
            _, edits = offered_edits(wrong, asked, options)
            cured = apply_corrections(wrong, corrections_of(edits, "bench", "2026-01-02")).panel
            after = not_fitting(matched(here, cured, options, taken))
        own.before, own.after = own.before + before, own.after + after
        own.worse += after > before
        lines.append(f"    {kind} {name} {sorted(near)}: {before} -> {after}  {said(asked)}")
    for field_name, value in vars(own).items():
        setattr(tally, field_name, getattr(tally, field_name) + value)
    return "\n".join([f"{design:14} {seed:3} {own.line()}", *lines])


def said(asked: Sequence[Asked]) -> str:
    """Write what is asked for in one line."""
    texts = (
        f"{a.wrong} {a.id} {a.far_mm:.2f}±{a.uncertainty_mm:.2f} mm, odds {a.log_odds:.1f}, "
        f"{a.numbers}"
        for a in asked
    )
    return "; ".join(texts) or "nothing"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.wrong_patterns", description=__doc__
    )
    parser.add_argument("--designs", default="mosaic,hexagons,landscape,canopy")
    parser.add_argument("--seeds", default="1,2")
    parser.add_argument("--faults", type=int, default=8, help="faults tried on each panel")
    parser.add_argument("--hand", choices=("first", "second"), default="second")
    given = parser.parse_args()
    total = Tally()
    for design in given.designs.split(","):
        for seed in given.seeds.split(","):
            print(one(design, int(seed), given.hand, given.faults, total), flush=True)
    print(f"{'all':18} {total.line()}")


if __name__ == "__main__":
    main()
