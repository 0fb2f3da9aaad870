"""A scripted person with the truth at hand: ``python -m benchmarks.review_hand RUBBING…``.

Each RUBBING is a folder of a rendered rubbing (``rubbing.jpg``, ``truth.json``). It is traced, and
then put right with what the review page offers, by taps alone:

1. of every doubt the cure is chosen with which most pieces are right, one press each; that all is
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
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from scipy.spatial import cKDTree

from benchmarks.alignment import Motion, align, sample
from benchmarks.scoring import Array, _match_pieces, _polygon
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.model import Panel
from rubbing2pattern.reviewing import bodies
from rubbing2pattern.reviewing.desk import Desk
from rubbing2pattern.workflows.folders import kept_folder

OFF_MM = 3.0
"""A lead farther than this from any true one is none."""
SHARE = 0.5
"""Share of a lead that is off from which it is false, or missing."""
JOINT_OFF_MM, JOINT_NEAR_MM = 1.2, 20.0
"""A joint of a wrong piece is dragged when the nearest true one lies so far off, and no farther."""
BEND_MM = 1.0
"""Rise of a lead over its chord from which it is drawn with a place between, or with three."""
ROUNDS = 4


@dataclass
class Hand:
    """The desk, the truth laid on its panel, and what was done."""

    desk: Desk
    truth: dict[str, Any]
    motion: Motion
    actions: int = 0
    places: int = 0
    tools: set[str] = field(default_factory=set)

    def right(self, panel: Panel) -> tuple[int, int]:
        """Return how many pieces are right, and less how many there are too many or too few."""
        found = [shapely.transform(p.outline, self.motion.apply) for p in panel.pieces]
        pairs = _match_pieces(found, self.true_pieces)
        return len(pairs), -abs(len(found) - len(self.true_pieces))

    @property
    def true_pieces(self) -> list[Any]:
        """The pieces of the truth."""
        return [_polygon(piece) for piece in self.truth["pieces"]]

    def now(self) -> dict[str, Any]:
        """Return what every write carries."""
        return {"digest": self.desk.session.digest, "step": self.desk.step}

    def tried(self, edits: list[dict[str, Any]]) -> tuple[int, int]:
        """Return how many pieces are right after edits that are taken back; -1 where refused."""
        try:
            self.desk.edit(bodies.Edits(edits=tuple(edits), **self.now()))
        except RubbingError:
            return -1, 0
        found = self.right(self.desk.panel)
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
        base = hand.right(hand.desk.panel)
        others = [c for c in doubt.cures if c is not right]
        results = [hand.tried(cure.edits) for cure in others]
        best = max(range(len(others)), key=lambda k: results[k], default=None)
        better = best is not None and results[best] > base
        hand.made(others[best].edits if better and best is not None else right.edits, 1)


def mend(hand: Hand) -> None:
    """Take out, draw and drag until every piece is right."""
    true = [np.array(came["path"], float) for came in hand.truth["cames"]]
    target = cKDTree(np.vstack([sample(path, 1.0) for path in true]))
    for _ in range(ROUNDS):
        panel = hand.desk.panel
        if hand.right(panel)[0] == len(hand.true_pieces) == len(panel.pieces):
            return
        for came in panel.cames:
            off = target.query(hand.motion.apply(sample(came.path, 1.0)))[0] > OFF_MM
            if off.mean() > SHARE and any(c.id == came.id for c in hand.desk.panel.cames):
                border = {"border": True} if came.border else {}
                out = [{"kind": "remove_lead", "came": came.id, **border}]
                hand.places += hand.made(out, 2)
        draw_missing(hand, true)
        drag(hand)


def draw_missing(hand: Hand, true: list[Array]) -> None:
    """Draw every true lead that is not there."""
    for path in true:
        drawn = [sample(came.path, 1.0) for came in hand.desk.panel.cames]
        tree = cKDTree(hand.motion.apply(np.vstack(drawn)))
        if (tree.query(sample(path, 1.0))[0] > OFF_MM).mean() <= SHARE:
            continue
        line = shapely.LineString(hand.back(path))
        chord = shapely.LineString((line.coords[0], line.coords[-1]))
        rise = max((chord.distance(shapely.Point(p)) for p in line.coords), default=0.0)
        between = (0.5,) if BEND_MM < rise < 10 * BEND_MM else (0.25, 0.5, 0.75)
        between = () if rise <= BEND_MM else between
        at = [list(line.interpolate(k, normalized=True).coords[0]) for k in (0.0, *between, 1.0)]
        edit: dict[str, Any] = {"kind": "add_lead", "from": at[0], "to": at[-1]}
        edit |= {"through": at[1:-1]} if between else {}
        if hand.made([edit], len(at)):
            hand.actions += hand.with_tool("lead")
            hand.places += 1


def drag(hand: Hand) -> None:
    """Drag the joints of wrong pieces to where they lie."""
    true = np.array([(j["x"], j["y"]) for j in hand.truth["joints"]], float)
    tree = cKDTree(true)
    panel = hand.desk.panel
    found = [shapely.transform(p.outline, hand.motion.apply) for p in panel.pieces]
    right = {a for a, _ in _match_pieces(found, hand.true_pieces)}
    cames = {c for k, p in enumerate(panel.pieces) if k not in right for c in p.cames}
    names = {end for c in panel.cames if c.id in cames for end in (c.start, c.end)}
    for joint in panel.joints:
        if joint.id not in names:
            continue
        off, k = tree.query(hand.motion.apply(np.array([(joint.x_mm, joint.y_mm)])))
        if JOINT_OFF_MM < off[0] < JOINT_NEAR_MM:
            to = hand.back(true[k])[0].tolist()
            if hand.made([{"kind": "move_joint", "joint": joint.id, "to": to}], 1):
                hand.actions += hand.with_tool("shift")
                hand.places += 1


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
    before = hand.right(hand.desk.panel)[0]
    settle(hand)
    mend(hand)
    return len(hand.true_pieces), before, hand.right(hand.desk.panel)[0], hand.places, hand.actions


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
