"""A scripted person with the truth at hand: ``python -m benchmarks.review_hand RUBBING…``.

Each RUBBING is a folder of a rendered rubbing (``rubbing.jpg``, ``truth.json``). It is traced, and
then put right with what the review page offers, by taps alone:

1. of every doubt the cure is chosen with which most is right, one press each; that all is
   right as drawn where no other is better; notes of one kind are one press;
2. leads that are none are taken out: a tap on the lead, a press;
3. leads that are missing are drawn: a tap for each end and each place between, and a press for the
   tool the first time;
4. joints that lie off are dragged, one each, and again a press for the tool the first time.

Printed are for each rubbing how many pieces are right before and after (overlap 0.9), how many
places were doubtful or wrong, how many actions it took, and both sums.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from benchmarks.alignment import Motion, align, sample
from benchmarks.scoring import Array, _match_pieces, _polygon
from rubbing2pattern.correcting.shapes import curve_through
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.geometry.curves import as_point
from rubbing2pattern.model import Came, Panel
from rubbing2pattern.reviewing import bodies
from rubbing2pattern.reviewing.desk import Desk
from rubbing2pattern.workflows.folders import kept_folder

OFF_MM = 1.5
"""A lead farther than this from any true one runs wrong; a true one so far from any is missing."""
RUN_MM = 6.0
"""So much of a lead must run wrong, or be missing, in one go to be seen."""
LEAD_OFF_MM = 0.7
"""A lead of a piece that is still wrong is drawn anew where it lies off by more."""
JOINT_OFF_MM, JOINT_NEAR_MM = 0.3, 20.0
"""A joint of a wrong piece is dragged when the true one lies so far off, and no farther."""
BEND_MM = 0.4
"""A lead is drawn with so many places between that it follows the true one this closely."""
BETWEEN = (0, 1, 3, 5, 7)
"""How many places between are tried."""
LANDS_MM = 8.0
"""A new lead's end is taken to the lead that lies within this; the program's `reach_mm`."""
STEP_MM = 0.5
"""Leads are compared point by point, this far apart."""
ROUNDS = 6


@dataclass
class Hand:
    """The desk, the truth laid on its panel, and what was done."""

    desk: Desk
    truth: dict[str, Any]
    motion: Motion
    actions: int = 0
    places: int = 0
    tools: set[str] = field(default_factory=set)

    @cached_property
    def true_pieces(self) -> list[Any]:
        """The pieces of the truth."""
        return [_polygon(piece) for piece in self.truth["pieces"]]

    @cached_property
    def true_paths(self) -> list[Array]:
        """The lines of the true leads."""
        return [np.array(came["path"], float) for came in self.truth["cames"]]

    @cached_property
    def true_places(self) -> cKDTree:
        """Places along the true leads."""
        return cKDTree(np.vstack([sample(path, 0.5 * STEP_MM) for path in self.true_paths]))

    def drawn(self, panel: Panel) -> Array:
        """Return places along the leads of a panel, laid on the truth."""
        return self.motion.apply(np.vstack([sample(c.path, STEP_MM) for c in panel.cames]))

    def pairs(self, panel: Panel) -> list[tuple[int, int]]:
        """Return the pieces that are right, found and true, by their places in both lists."""
        found = [shapely.transform(p.outline, self.motion.apply) for p in panel.pieces]
        return _match_pieces(found, self.true_pieces)

    def score(self, panel: Panel) -> tuple[int, float]:
        """Return how many pieces are right, and less the length that runs wrong or is missing."""
        drawn = self.drawn(panel)
        true = np.vstack([sample(path, STEP_MM) for path in self.true_paths])
        wrong = (self.true_places.query(drawn)[0] > OFF_MM).sum()
        missing = (cKDTree(drawn).query(true)[0] > OFF_MM).sum()
        return len(self.pairs(panel)), -STEP_MM * float(wrong + missing)

    def wrong_cames(self) -> list[Came]:
        """Return the leads that do not lie between right pieces alone."""
        panel = self.desk.panel
        right = {panel.pieces[k].number for k, _ in self.pairs(panel)}
        return [c for c in panel.cames if not c.pieces or not {*c.pieces} <= right]

    def all_right(self) -> bool:
        """Tell whether every piece is right and none too many."""
        panel = self.desk.panel
        return len(self.pairs(panel)) == len(self.true_pieces) == len(panel.pieces)

    def now(self) -> dict[str, Any]:
        """Return what every write carries."""
        return {"digest": self.desk.session.digest, "step": self.desk.step}

    def tried(self, edits: list[dict[str, Any]]) -> tuple[int, float]:
        """Return the score after edits that are taken back; -1 where refused."""
        try:
            self.desk.edit(bodies.Edits(edits=tuple(edits), **self.now()))
        except RubbingError:
            return -1, 0.0
        found = self.score(self.desk.panel)
        self.desk.undo(bodies.Write(**self.now()))
        return found

    def made(self, edits: list[dict[str, Any]], taps: int) -> bool:
        """Make edits; return whether they were not refused."""
        try:
            self.desk.edit(bodies.Edits(edits=tuple(edits), **self.now()))
        except RubbingError:
            return False
        self.actions += taps
        return True

    def with_tool(self, tool: str) -> int:
        """Return the press that takes a tool, the first time."""
        fresh = tool not in self.tools
        self.tools.add(tool)
        return int(fresh)

    def back(self, points: Array) -> Array:
        """Return places of the truth in the panel's frame."""
        c, s = np.cos(self.motion.angle_rad), np.sin(self.motion.angle_rad)
        turn = np.array([[c, s], [-s, c]])
        return np.asarray((points - np.array(self.motion.shift_mm)) @ turn.T / self.motion.scale)


def settle(hand: Hand) -> None:
    """Answer every doubt once, the most harmful first."""
    answered: set[str] = set()
    while True:
        left = [d for d in hand.desk.findings().doubts if d.names[0] not in answered]
        if not left:
            return
        doubt = left[0]
        answered |= {*doubt.names}
        hand.places += 1
        right = next(c for c in doubt.cures if c.edits[0]["kind"] == "dismiss")
        base = hand.score(hand.desk.panel)
        others = [c for c in doubt.cures if c is not right]
        results = [hand.tried(cure.edits) for cure in others]
        best = max(range(len(others)), key=lambda k: results[k], default=None)
        better = best is not None and results[best] > base
        hand.made(others[best].edits if better and best is not None else right.edits, 1)


def mend(hand: Hand) -> None:
    """Drag, take out and draw until every piece is right."""
    for _ in range(ROUNDS):
        before = hand.actions
        for work in (drag, take_out, draw_missing, draw_anew):
            if hand.all_right():
                return
            work(hand)
        if hand.actions == before:
            return


def drag(hand: Hand) -> None:
    """Drag the joints of wrong pieces to where they lie, where that makes more right."""
    true = np.array([(j["x"], j["y"]) for j in hand.truth["joints"]], float)
    tree = cKDTree(true)
    names = {end for came in hand.wrong_cames() for end in (came.start, came.end)}
    nearest: dict[int, tuple[float, str]] = {}
    for joint in hand.desk.panel.joints:
        off, k = tree.query(hand.motion.apply(np.array([(joint.x_mm, joint.y_mm)]))[0])
        nearest[int(k)] = min(nearest.get(int(k), (math.inf, "")), (float(off), joint.id))
    for k, (off, name) in nearest.items():
        if name not in names or not JOINT_OFF_MM < off < JOINT_NEAR_MM:
            continue
        edit = {"kind": "move_joint", "joint": name, "to": hand.back(true[k]).tolist()}
        if hand.tried([edit]) > hand.score(hand.desk.panel) and hand.made([edit], 1):
            hand.actions += hand.with_tool("shift")
            hand.places += 1


def take_out(hand: Hand) -> None:
    """Take out the leads of wrong pieces that run wrong for a stretch."""
    for came in hand.wrong_cames():
        off = hand.true_places.query(hand.motion.apply(sample(came.path, STEP_MM)))[0] > OFF_MM
        if longest(off) * STEP_MM > min(RUN_MM, 0.5 * came.length_mm):
            hand.places += hand.made([out(came)], 2)


def out(came: Came) -> dict[str, Any]:
    """Return the edit that takes a lead out."""
    return {"kind": "remove_lead", "came": came.id, **({"border": True} if came.border else {})}


def draw_missing(hand: Hand) -> None:
    """Draw what is missing of the true leads round wrong pieces."""
    right = {k for _, k in hand.pairs(hand.desk.panel)}
    rings = [p.exterior for k, p in enumerate(hand.true_pieces) if k not in right]
    around = shapely.union_all(rings).buffer(OFF_MM)
    for path in hand.true_paths:
        if around.intersection(shapely.LineString(path)).length > RUN_MM:
            hand.places += draw(hand, path)


def draw_anew(hand: Hand) -> None:
    """Take out and draw anew the leads of wrong pieces that lie off or bow otherwise."""
    for came in hand.wrong_cames():
        points = hand.motion.apply(sample(came.path, STEP_MM))
        lies = any(c.id == came.id and c.path is came.path for c in hand.desk.panel.cames)
        if hand.all_right() or not lies:
            continue
        off = hand.true_places.query(points)[0]
        if off.max() > LEAD_OFF_MM and hand.made([out(came)], 2):
            hand.places += 1
            draw_missing(hand)


def draw(hand: Hand, path: Array) -> bool:
    """Draw the longest stretch of a true lead that is missing; return whether that was done."""
    points = np.vstack((path[:1], sample(path, STEP_MM), path[-1:]))
    tree = cKDTree(hand.drawn(hand.desk.panel))
    off = tree.query(points)[0]
    first, last = stretch(off > OFF_MM)
    if (last - first) * STEP_MM < min(RUN_MM, 0.5 * len(points) * STEP_MM):
        return False
    while first > 0 and off[first] > STEP_MM:
        first -= 1
    while last < len(points) - 1 and off[last] > STEP_MM:
        last += 1
    line = hand.back(points[first : last + 1])
    ends = off[first], off[last]
    if ends[0] > LANDS_MM:  # it is begun where it lands
        line, ends = line[::-1], ends[::-1]
    free = ends[1] > LANDS_MM
    at = places_along(line)
    edit: dict[str, Any] = {"kind": "add_lead", "from": at[0], "to": at[-1]}
    edit |= {"through": at[1:-1]} if at[1:-1] else {}
    edit |= {"free_end": True} if free else {}
    if not hand.made([edit], len(at) + free):
        return False
    hand.actions += hand.with_tool("lead")
    return True


def places_along(line: Array) -> list[list[float]]:
    """Return the fewest places through which a drawn lead follows a line."""
    true = shapely.LineString(line)
    at: list[list[float]] = []
    for between in BETWEEN:
        shares = np.linspace(0.0, 1.0, between + 2)
        at = [list(true.interpolate(share, normalized=True).coords[0]) for share in shares]
        drawn = shapely.LineString(curve_through([as_point(np.array(p)) for p in at]).points())
        if shapely.hausdorff_distance(drawn, true) < BEND_MM:
            break
    return at


def stretch(off: npt.NDArray[np.bool_]) -> tuple[int, int]:
    """Return the first and the last place of the longest stretch that is off, (0, 0) if none."""
    steps = np.flatnonzero(np.diff(np.concatenate(([0], off.astype(np.int8), [0]))))
    begins, ends = steps[::2], steps[1::2] - 1
    if not len(begins):
        return 0, 0
    k = int(np.argmax(ends - begins))
    return int(begins[k]), int(ends[k])


def longest(off: npt.NDArray[np.bool_]) -> int:
    """Return of how many places the longest stretch is that is off."""
    first, last = stretch(off)
    return last - first + int(off[first])


def worked(rubbing: Path, place: Path) -> tuple[int, int, int, int, int]:
    """Return true pieces, right before, right after, places and actions of one rubbing."""
    truth = json.loads((rubbing / "truth.json").read_text())
    folder = place / rubbing.name
    command = [sys.executable, "-m", "rubbing2pattern", "trace", str(rubbing / truth["image"])]
    subprocess.run(
        [*command, *truth["reference"], "--seen-from", "inside", "-o", str(folder)],
        check=True, capture_output=True,
    )  # fmt: skip
    kept = kept_folder(folder)
    motion, _ = align(
        [np.asarray(c.path) for c in kept.panel.cames],
        [np.array(c["path"], float) for c in truth["cames"]],
    )
    hand = Hand(Desk(folder, None, kept), truth, motion)
    before = len(hand.pairs(hand.desk.panel))
    settle(hand)
    mend(hand)
    after = len(hand.pairs(hand.desk.panel))
    return len(hand.true_pieces), before, after, hand.places, hand.actions


def main() -> None:
    """Put all rubbings right and print what it took."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("rubbings", type=Path, nargs="+")
    shares = []
    with tempfile.TemporaryDirectory() as place:
        for rubbing in options.parse_args().rubbings:
            true, before, after, places, actions = worked(rubbing, Path(place))
            shares.append(actions / max(1, places))
            print(
                f"{rubbing.name}: {true} pieces, right {before} before, {after} after; "
                f"{places} places, {actions} actions, {shares[-1]:.2f} a place",
                flush=True,
            )
    print(f"median {statistics.median(shares):.2f} actions a place")


if __name__ == "__main__":
    main()
