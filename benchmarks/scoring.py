"""How well a record agrees with the truth of a rendered rubbing.

The record's frame is levelled and shifted by the program, so it is first laid on the truth by a
rigid motion (turn and shift, no change of scale) that brings the traced lead lines closest to
the true ones. Everything is then compared in the truth's frame, in mm.

What counts as a joint, on both sides: a meeting of three cames or more, or a corner where two
meet at a real turn of more than 25 degrees. Free ends and the seam of a ring are left out: the one
is a question of length, the other has no place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Polygon

from benchmarks.alignment import Motion, align, sample
from benchmarks.doubting import (
    LEAD_DOUBTS,
    NEAR_FINDING_MM,
    Pointing,
    doubted_right,
    flagged_pieces,
    silent_pieces,
)
from benchmarks.straying import Leads, strayed

Array = npt.NDArray[np.float64]

OVERLAP = 0.9
JOINT_MM = 3.0
LINE_MM = 3.0
"""A lead line farther than this from any other is missed, or false."""
WIDTH_MM = 0.4
REAL_TURN_DEG = 25.0
BIN_MM = 0.01


@dataclass(frozen=True, slots=True)
class Score:
    """Counts of one case, such that those of several cases can be added.

    Attributes
    ----------
    true_pieces, traced_pieces, matched_pieces : numbers of pieces; matched at overlap 0.9.
    true_joints, traced_joints, matched_joints : the same for joints, matched within 3 mm.
    line_errors : histogram of distances between true and traced lead lines, bins of 0.01 mm,
        both ways, each mm of length counted once; only what lies within 3 mm.
    true_mm, missed_mm, traced_mm, false_mm : lengths of lead.
    width_mm, width_as_shown_mm, width_as_face_mm : length whose width was compared, and is within
        0.4 mm of what the rubbing shows, and of the true face.
    area_errors : relative errors of the area of the matched pieces, absolute values.
    scale_error : relative, from the best similarity; nan where nothing could be laid on the truth.
    true_cames, traced_cames : numbers of cames.
    strayed, strayed_silent : cames, true and traced ones together, that lie more than 1 mm off
        anywhere, see `benchmarks.straying`; those without a finding within 15 mm of the place of
        their greatest deviation.
    wrong, silent, flagged : wrong pieces; wrong ones to which no finding points; pieces with one.
    doubted_right : right pieces to which a finding about leads points (`LEAD_DOUBTS`).
    findings : how many findings the record has, notes left out.
    seconds : time the program took.
    failure : why there is no record, or "".
    """

    true_pieces: int
    true_joints: int
    true_mm: float
    true_cames: int
    traced_pieces: int = 0
    matched_pieces: int = 0
    traced_joints: int = 0
    matched_joints: int = 0
    line_errors: npt.NDArray[np.int64] = field(
        default_factory=lambda: np.zeros(round(LINE_MM / BIN_MM) + 1, np.int64)
    )
    missed_mm: float = 0.0
    traced_mm: float = 0.0
    false_mm: float = 0.0
    width_mm: float = 0.0
    width_as_shown_mm: float = 0.0
    width_as_face_mm: float = 0.0
    area_errors: tuple[float, ...] = ()
    scale_error: float = math.nan
    traced_cames: int = 0
    strayed: int = 0
    strayed_silent: int = 0
    wrong: int = 0
    silent: int = 0
    flagged: int = 0
    doubted_right: int = 0
    findings: int = 0
    seconds: float = math.nan
    failure: str = ""

    @property
    def every_piece(self) -> bool:
        """Whether every piece is right and none is extra."""
        return self.matched_pieces == self.true_pieces == self.traced_pieces

    @property
    def cames(self) -> int:
        """Number of cames, true and traced ones together."""
        return self.true_cames + self.traced_cames

    @property
    def piece_f1(self) -> float:
        """Harmonic mean of recall and precision of pieces."""
        return 2 * self.matched_pieces / max(1, self.true_pieces + self.traced_pieces)


def refused(truth: dict[str, Any], why: str) -> Score:
    """Return the score of a rubbing that the program did not read: all wrong, none in silence."""
    pieces, cames = len(truth["pieces"]), len(truth["cames"])
    length = sum(_length(c["path"]) for c in truth["cames"])
    return Score(
        true_pieces=pieces,
        true_joints=len(_true_joints(truth)),
        true_mm=length,
        true_cames=cames,
        missed_mm=length,
        strayed=cames,
        wrong=pieces,
        failure=why,
    )


def score(record: dict[str, Any], truth: dict[str, Any]) -> Score:
    """Compare a record (``panel.json``) with the truth (``truth.json``)."""
    true_lines = [np.array(c["path"]) for c in truth["cames"]]
    traced_lines = [np.array(c["path"], float) for c in record["cames"]]
    if not traced_lines or not record["pieces"]:
        return refused(truth, "the record holds no piece")
    motion, scale = align(traced_lines, true_lines)
    traced_lines = [motion.apply(p) for p in traced_lines]
    found = _pieces(record["pieces"], motion)
    true = [_polygon(p) for p in truth["pieces"]]
    pairs = _match_pieces(found, true)
    findings = Pointing.of(record, motion)
    numbers = [p["number"] for p in record["pieces"]]
    wrong, silent = silent_pieces(findings, numbers, found, true, pairs)
    on_leads = Pointing.of(record, motion, LEAD_DOUBTS)
    off, off_silent = strayed(
        Leads(true_lines, _free(truth["cames"], range(len(truth["joints"])))),
        Leads(traced_lines, _free(record["cames"], [j["id"] for j in record["joints"]])),
        findings.places,
        NEAR_FINDING_MM,
    )
    a, b = _true_joints(truth), motion.apply(_traced_joints(record))
    errors, missed, false = _line_errors(traced_lines, true_lines)
    compared, shown, face = _widths(record, truth, traced_lines, true_lines)
    areas = tuple(abs(found[i].area / true[j].area - 1.0) for i, j in pairs)
    return Score(
        true_pieces=len(true),
        true_joints=len(a),
        true_mm=sum(_length(p) for p in true_lines),
        true_cames=len(true_lines),
        traced_pieces=len(found),
        matched_pieces=len(pairs),
        traced_joints=len(b),
        matched_joints=_match_points(a, b),
        line_errors=errors,
        missed_mm=missed,
        traced_mm=sum(_length(p) for p in traced_lines),
        false_mm=false,
        width_mm=compared,
        width_as_shown_mm=shown,
        width_as_face_mm=face,
        area_errors=areas,
        scale_error=scale - 1.0,
        traced_cames=len(traced_lines),
        strayed=off,
        strayed_silent=off_silent,
        wrong=wrong,
        silent=silent,
        flagged=flagged_pieces(findings, numbers, found),
        doubted_right=doubted_right(on_leads, numbers, found, pairs),
        findings=findings.count,
    )


def _length(path: npt.ArrayLike) -> float:
    return float(np.hypot(*np.diff(np.asarray(path, float), axis=0).T).sum())


def _polygon(piece: dict[str, Any]) -> Polygon:
    p = Polygon(piece["outline"], piece.get("holes") or [])
    return p if p.is_valid else shapely.make_valid(p)


def _pieces(pieces: list[dict[str, Any]], motion: Motion) -> list[Polygon]:
    return [
        _polygon(
            {
                "outline": motion.apply(np.array(p["outline"], float)),
                "holes": [motion.apply(np.array(h, float)) for h in p.get("holes") or []],
            }
        )
        for p in pieces
    ]


def _match_pieces(found: list[Polygon], true: list[Polygon]) -> list[tuple[int, int]]:
    """Return pairs (traced, true) with overlap of 0.9; above 0.5 no piece has two partners."""
    i, j = shapely.STRtree(true).query(found)
    pairs = []
    for a, b in zip(i.tolist(), j.tolist(), strict=True):
        common = found[a].intersection(true[b]).area
        if common / (found[a].area + true[b].area - common) >= OVERLAP:
            pairs.append((a, b))
    return pairs


def _true_joints(truth: dict[str, Any]) -> Array:
    at = [(j["x"], j["y"]) for j in truth["joints"] if j["kind"] not in ("end", "ring")]
    return np.array(at, float).reshape(-1, 2)


def _free(cames: list[dict[str, Any]], joints: Iterable[Any]) -> list[tuple[bool, bool]]:
    """Return for every came whether its start and its end are met by no other came's end."""
    met = dict.fromkeys(joints, 0)
    for c in cames:
        for end in ("start", "end"):
            met[c[end]] = met.get(c[end], 0) + 1
    return [(met[c["start"]] == 1, met[c["end"]] == 1) for c in cames]


def _traced_joints(record: dict[str, Any]) -> Array:
    leaving: dict[Any, list[float]] = {}
    for c in record["cames"]:
        p = np.array(c["path"], float)
        leaving.setdefault(c["start"], []).append(_heading(p))
        leaving.setdefault(c["end"], []).append(_heading(p[::-1]))
    at = []
    for j in record["joints"]:
        ways = leaving.get(j["id"], [])
        turn = math.pi
        if len(ways) == 2:
            apart = abs((ways[0] - ways[1] + math.pi) % (2 * math.pi) - math.pi)
            turn = math.pi - apart
        if len(ways) >= 3 or (len(ways) == 2 and math.degrees(turn) > REAL_TURN_DEG):
            at.append((j["x"], j["y"]))
    return np.array(at, float).reshape(-1, 2)


def _heading(path: Array) -> float:
    """Return the direction in which a came leaves, over its first 3 mm."""
    far = np.hypot(*(path - path[0]).T)
    k = int(np.argmax(far >= min(3.0, far.max())))
    d = path[k] - path[0]
    return math.atan2(d[1], d[0])


def _match_points(a: Array, b: Array) -> int:
    """Return how many points pair off one to one within 3 mm, at the least total distance."""
    if not len(a) or not len(b):
        return 0
    d = np.hypot(*(a[:, None] - b[None]).transpose(2, 0, 1))
    i, j = linear_sum_assignment(np.where(d <= JOINT_MM, d, 1e4))
    return int((d[i, j] <= JOINT_MM).sum())


def _line_errors(
    traced: list[Array], true: list[Array]
) -> tuple[npt.NDArray[np.int64], float, float]:
    errors = np.zeros(round(LINE_MM / BIN_MM) + 1, np.int64)
    lost = []
    for here, there in ((true, traced), (traced, true)):
        p = np.vstack([sample(q, 1.0) for q in here])
        d = _distance(p, there)
        near = d <= LINE_MM
        errors += np.bincount((d[near] / BIN_MM).astype(int), minlength=len(errors))
        lost.append(float((~near).sum()))
    return errors, lost[0], lost[1]


def _distance(points: Array, lines: list[Array]) -> Array:
    tree = shapely.STRtree([LineString(q) for q in lines])
    _, d = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
    return np.asarray(d)


def _widths(
    record: dict[str, Any], truth: dict[str, Any], traced: list[Array], true: list[Array]
) -> tuple[float, float, float]:
    """Return the length compared and the lengths that agree with the shown and the face width.

    Places within one face width of a joint are left out: solder hides the lead there.
    """
    joints = cKDTree(np.array([(j["x"], j["y"]) for j in truth["joints"]]))
    tree = shapely.STRtree([LineString(q) for q in traced])
    face = np.array([c["face_width_mm"] for c in record["cames"]], float)
    shown = np.array(
        [c.get("shown_width_mm") or c["face_width_mm"] for c in record["cames"]], float
    )
    total = as_shown = as_face = 0.0
    for came, path in zip(truth["cames"], true, strict=True):
        if came["shown_width_mm"] is None:
            continue
        p = sample(path, 1.0)
        p = p[joints.query(p)[0] > came["face_width_mm"]]
        if not len(p):
            continue
        (_, k), d = tree.query_nearest(shapely.points(p), return_distance=True, all_matches=False)
        k = k[d <= 1.5]
        total += len(k)
        as_shown += float((np.abs(shown[k] - came["shown_width_mm"]) <= WIDTH_MM).sum())
        as_face += float((np.abs(face[k] - came["face_width_mm"]) <= WIDTH_MM).sum())
    return total, as_shown, as_face
