"""Found and matched glass counted against what was drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon

from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.fitting import Pose
from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Opening, Placed, Verdict
from rubbing2pattern.matching.outlines import LooseFound
from rubbing2pattern.options.match import MatchOptions

RIVAL_MM = 0.7
"""Openings nearer to each other than this could be taken for each other (root mean square)."""
OVERLAP = 0.8
"""Share that a piece found and a true one have in common, of both together."""
TOLD_MM = 5.0
"""A finding is about a piece when it lies no farther from it."""
PLACES = 256

True_ = dict[str, Any]


@dataclass
class Tally:
    """Sums over benches."""

    true: int = 0
    found: int = 0
    silent: int = 0
    false: int = 0
    off_mm: list[float] = field(default_factory=list)
    groze_off_mm: list[float] = field(default_factory=list)
    short_off_mm: list[float] = field(default_factory=list)
    over: int = 0
    over_told: int = 0
    clear: int = 0
    clear_right: int = 0
    whole: int = 0
    whole_right: int = 0
    doubtful: int = 0
    doubtful_clear: int = 0
    wrong_sure: int = 0
    strangers: int = 0
    strangers_told: int = 0
    resized: int = 0
    resized_told: int = 0
    fragments: int = 0
    fragments_right: int = 0
    fragments_wrong: int = 0
    cut_anew: int = 0
    seconds: list[float] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Add another tally."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)

    def line(self) -> str:
        """Return the figures in one line."""
        off, groze, short = (
            float(np.percentile(each, 95)) if each else float("nan")
            for each in (self.off_mm, self.groze_off_mm, self.short_off_mm)
        )
        return (
            f"found {self.found}/{self.true} silent {self.silent} false {self.false}  "
            f"edge {off:.2f} groze {groze:.2f} short {short:.2f} mm  "
            f"whole right {self.whole_right}/{self.whole} clear {self.clear_right}/{self.clear} "
            f"wrong and sure {self.wrong_sure} doubtful {self.doubtful} "
            f"clear ones {self.doubtful_clear}  strangers {self.strangers_told}/{self.strangers} "
            f"resized {self.resized_told}/{self.resized}  over {self.over_told}/{self.over}  "
            f"fragments {self.fragments_right}/{self.fragments} wrong {self.fragments_wrong}  "
            f"cut anew {self.cut_anew}  {sum(self.seconds):.1f} s"
        )


def ring(outline: Polygon) -> np.ndarray[Any, Any]:
    """Return an outline as centred complex numbers at even steps, anticlockwise."""
    line = shapely.orient_polygons(outline).exterior
    places = shapely.get_coordinates(line.interpolate(np.arange(PLACES) * line.length / PLACES))
    return (places - places.mean(axis=0)) @ np.array((1.0, 1.0j))


def rivals(cuts: list[Polygon]) -> list[set[int]]:
    """Return for each cut outline the others that a glazier could take for it."""
    rings = [ring(cut) for cut in cuts]
    found: list[set[int]] = [set() for _ in cuts]
    for i, a in enumerate(rings):
        for j in range(i + 1, len(rings)):
            if abs(cuts[i].area - cuts[j].area) > 2 * RIVAL_MM * cuts[i].length:
                continue
            b = rings[j]
            sums = np.fft.ifft(np.fft.fft(b) * np.conj(np.fft.fft(a)))
            start = int(np.abs(sums).argmax())
            turned = a * np.exp(1j * np.angle(sums[start]))
            there = np.roll(b, -start)
            along = np.roll(there, -1) - np.roll(there, 1)
            across = ((there - turned) * np.conj(1j * along / np.abs(along))).real
            if np.sqrt(np.mean(across**2)) < RIVAL_MM:
                found[i].add(j)
                found[j].add(i)
    return found


def pair(found: LooseFound, true: list[True_], tally: Tally, flat: bool) -> dict[str, True_]:
    """Pair found pieces with true ones by overlap; note outline errors and what is not told."""
    shapes = [Polygon(t["outline"]) for t in true]
    pieces = found.pieces
    if flat:  # a scan has its own origin
        shift = _shift([p.outline for p in pieces], shapes)
        shapes = [shapely.transform(s, lambda p: p + shift) for s in shapes]
    pairs: dict[str, True_] = {}
    taken: set[int] = set()
    for piece in pieces:
        best, share = -1, 0.0
        for k, shape in enumerate(shapes):
            if k not in taken and shape.intersects(piece.outline):
                both = shape.intersection(piece.outline).area
                overlap = both / (shape.area + piece.outline.area - both)
                best, share = (k, overlap) if overlap > share else (best, share)
        if share < OVERLAP:
            tally.false += 1
            continue
        taken.add(best)
        pairs[piece.id] = true[best]
        edge = piece.outline.exterior
        places = edge.interpolate(np.arange(0.0, edge.length, 1.0))
        tally.off_mm.extend(shapely.distance(places, shapes[best].exterior).tolist())
    tally.true += len(true)
    tally.found += len(pairs)
    told = [shapely.Point(f.at) for f in found.findings if f.at is not None]
    missed = [s for k, s in enumerate(shapes) if k not in taken]
    tally.silent += sum(all(s.distance(p) > TOLD_MM for p in told) for s in missed)
    return pairs


def _shift(found: list[Polygon], true: list[Polygon]) -> np.ndarray[Any, Any]:
    """Return the shift by which most pieces agree."""
    a = np.array([p.centroid.coords[0] for p in found])
    b = np.array([p.centroid.coords[0] for p in true])
    apart = a[:, None] - b[None]
    agree = (np.linalg.norm(apart[:, :, None, None] - apart[None, None], axis=-1) < 1.0).sum((2, 3))
    best = np.unravel_index(int(agree.argmax()), agree.shape)
    near = np.linalg.norm(apart - apart[best], axis=-1) < 1.0
    return np.asarray(np.median(apart[near], axis=0))


def judge(
    matches: Matches,
    pairs: dict[str, True_],
    rival: list[set[int]],
    tally: Tally,
    least: float,
    openings: dict[int, Opening],
    turn_over: bool,
) -> None:
    """Score numbers, strangers, fragments and amounts."""
    there = {t["index"] for t in pairs.values() if t["index"] is not None}
    tally.cut_anew += sum(number in there for number in matches.unfilled)
    for match in matches.matches:
        if match.piece.id not in pairs:
            continue
        true = pairs[match.piece.id]
        numbers = set(match.numbers)
        sure = bool(numbers) and match.margin > least
        if true["fragment"]:
            _fragment(match, true, openings, tally)
        elif true.get("near") is not None:
            tally.resized += 1
            tally.resized_told += _told(match, true["near"]) and not sure
            tally.wrong_sure += sure
        elif true["index"] is None:
            tally.strangers += 1
            tally.strangers_told += not numbers
            tally.wrong_sure += sure
        elif true["over"] and not turn_over:
            tally.over += 1
            tally.over_told += _told_over(match, true["index"])
            # What is alike when it is turned over has its number either way.
            tally.wrong_sure += sure and not {true["index"], *rival[true["index"]]} & numbers
        else:
            _whole(match, true, rival[true["index"]], openings, tally, sure)


def _told(match: Match, number: int) -> bool:
    return match.nearest is not None and number in match.nearest.numbers


def _told_over(match: Match, number: int) -> bool:
    """Say whether a piece that lies turned over is said to, or fits as it lies all the same."""
    if number in match.numbers:
        return True
    return _told(match, number) and match.nearest is not None and match.nearest.over


def _whole(
    match: Match, true: True_, rival: set[int], openings: dict[int, Opening], t: Tally, sure: bool
) -> None:
    right = true["index"] in match.numbers and match.verdict is not Verdict.FRAGMENT
    doubtful = right and not sure
    t.whole += 1
    t.whole_right += right
    t.doubtful += doubtful
    if not rival:
        t.clear += 1
        t.clear_right += right
        t.doubtful_clear += doubtful
    t.wrong_sure += sure and not right
    if match.placed and right:
        compare_amounts(match.placed, true, openings[match.placed.number], t)


def _fragment(match: Match, true: True_, openings: dict[int, Opening], tally: Tally) -> None:
    tally.fragments += 1
    if match.placed is None:
        return
    number = match.placed.number
    good = match.verdict is Verdict.FRAGMENT and goes_over(
        Polygon(true["as_cut"]), match.placed.outline, openings[true["index"]], openings[number]
    )
    tally.fragments_right += good
    tally.fragments_wrong += not good and match.margin > MatchOptions().doubtful_margin


def goes_over(cut: Polygon, lies: Polygon, home: Opening, there: Opening) -> bool:
    """Say whether a fragment lies in an opening as it lies in its own.

    A motion that carries its own opening over the one that it was laid in has to carry it from
    where it was cut to where it was laid, each nearer than openings that are taken for each other.
    """
    return any(
        _off_mm(_carried(home.cut, motion), there.cut) < RIVAL_MM
        and _off_mm(_carried(cut, motion), lies) < RIVAL_MM
        for motion in _motions(home.cut, there.cut)
    )


def _motions(one: Polygon, other: Polygon) -> Iterator[Placement]:
    """Yield the turns that bring an outline nearest to another, with the shift of its middle."""
    a, b = ring(one), ring(other)
    sums = np.fft.ifft(np.fft.fft(b) * np.conj(np.fft.fft(a)))
    size = np.abs(sums)
    peak = (size >= np.roll(size, 1)) & (size >= np.roll(size, -1)) & (size > 0.9 * size.max())
    for turn in np.angle(sums[peak]):
        turned = Placement(float(np.degrees(turn)))
        middle = turned.apply([one.exterior.centroid.coords[0]])[0]
        shift = np.subtract(other.exterior.centroid.coords[0], middle)
        yield Placement(turned.angle_deg, float(shift[0]), float(shift[1]))


def _carried(outline: Polygon, motion: Placement) -> Polygon:
    return shapely.transform(outline, motion.apply)


def _off_mm(one: Polygon, other: Polygon) -> float:
    """Return the mean distance of two outlines that lie on each other."""
    return float(one.symmetric_difference(other).area / other.length)


def compare_amounts(placed: Placed, true: True_, opening: Opening, tally: Tally) -> None:
    """Note how far amounts to groze and to fall short are from those of the true outline.

    The true outline begins where it was cut for; both are then eased in by the same rule.
    """
    if true["index"] != opening.number or placed.over is not bool(true["over"]):
        return
    glass = LoosePiece("true", "", Polygon(true["as_cut"]), 0.1)
    there = laid(glass, Pose(0, 0, False, Placement(0.0), 0.0, 0.0), opening, MatchOptions())
    tally.groze_off_mm.append(abs(placed.groze_mm - there.groze_mm))
    tally.short_off_mm.append(abs(placed.short_mm - there.short_mm))


def openings_of(rows: Sequence[True_], uncertainty_mm: float) -> list[Opening]:
    """Return openings as `truth.json` lists them."""
    return [
        Opening(
            o["index"], Polygon(o["hearts"]), Polygon(o["cut"]), Polygon(o["sight"]), uncertainty_mm
        )
        for o in rows
        if o["cut"] and o["sight"]
    ]
