"""The scoring of the benchmark, on records made from the truth and spoilt in known ways."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from benchmarks.alignment import Motion, align
from benchmarks.scoring import refused, score
from benchmarks.tables import case_line, line_quantile, table
from tests.rendering.designs import draw

Data = dict[str, Any]


@pytest.fixture(scope="module")
def truth() -> Data:
    design, exact = draw("bricks", np.random.default_rng(1))
    return {
        "joints": [
            {"x": j.x_mm, "y": j.y_mm, "kind": j.kind, "degree": j.degree} for j in exact.joints
        ],
        "cames": [
            {
                "start": c.start,
                "end": c.end,
                "path": c.path.tolist(),
                "face_width_mm": design.strips[c.strip].width_mm,
                "shown_width_mm": design.strips[c.strip].width_mm - 0.3,
            }
            for c in exact.cames
        ],
        "pieces": [
            {"outline": list(p.exterior.coords), "holes": [list(r.coords) for r in p.interiors]}
            for p in exact.pieces
        ],
    }


def faked(truth: Data, motion: Motion = Motion()) -> Data:  # noqa: B008
    """Return the record of a perfect program, moved by a motion."""

    def moved(points: Any) -> list[list[float]]:
        return motion.apply(np.array(points, float).reshape(-1, 2)).tolist()

    joints = []
    for k, j in enumerate(truth["joints"]):
        x, y = moved([(j["x"], j["y"])])[0]
        joints.append({"id": f"J{k}", "x": x, "y": y, "kind": j["kind"]})
    return {
        "joints": joints,
        "cames": [
            {
                "start": f"J{c['start']}",
                "end": f"J{c['end']}",
                "path": moved(c["path"]),
                "face_width_mm": c["face_width_mm"],
                "shown_width_mm": c["shown_width_mm"],
            }
            for c in truth["cames"]
        ],
        "pieces": [
            {"number": k, "outline": moved(p["outline"]), "holes": [moved(h) for h in p["holes"]]}
            for k, p in enumerate(truth["pieces"], 1)
        ],
        "findings": [],
    }


def test_a_perfect_record_scores_full_marks(truth: Data) -> None:
    s = score(faked(truth), truth)
    assert s.every_piece
    assert s.piece_f1 == 1.0
    assert s.matched_joints == s.true_joints == s.traced_joints
    assert line_quantile([s], 0.95) <= 0.02
    assert abs(s.scale_error) < 1e-6
    assert s.missed_mm == s.false_mm == 0
    assert s.width_as_shown_mm == s.width_as_face_mm == s.width_mm > 0.6 * s.true_mm
    assert max(s.area_errors) < 1e-6
    assert (s.wrong, s.silent, s.flagged) == (0, 0, 0)


def test_a_turn_and_a_shift_cost_nothing(truth: Data) -> None:
    s = score(faked(truth, Motion(0.02, (3.0, -4.0))), truth)
    assert s.every_piece
    assert line_quantile([s], 0.95) <= 0.02
    assert s.matched_joints == s.true_joints


def test_the_motion_is_found_again(truth: Data) -> None:
    true = [np.array(c["path"]) for c in truth["cames"]]
    motion = Motion(-0.013, (5.0, 2.0))
    found, scale = align([motion.apply(p) for p in true], true)
    assert found.angle_rad == pytest.approx(0.013, abs=1e-6)
    assert scale == pytest.approx(1.0, abs=1e-6)


def test_a_wrong_scale_is_not_forgiven(truth: Data) -> None:
    s = score(faked(truth, Motion(0.0, (0.0, 0.0), 1.004)), truth)
    assert s.scale_error == pytest.approx(1 / 1.004 - 1, abs=2e-5)
    assert line_quantile([s], 0.95) > 0.3
    assert np.median(s.area_errors) == pytest.approx(0.008, rel=0.02)


def _merged(truth: Data) -> Data:
    """Return a record that lost the lead between two pieces."""
    import shapely

    record = faked(truth)
    shapes = [shapely.Polygon(p["outline"]) for p in record["pieces"]]
    pairs = [
        (shapes[i].intersection(shapes[j]).length, i, j)
        for i in range(len(shapes))
        for j in range(i)
    ]
    _, i, j = max(pairs)
    lost = shapes[i].intersection(shapes[j])
    one = shapely.union(shapes[i], shapes[j])
    record["pieces"][j]["outline"] = list(one.exterior.coords)
    del record["pieces"][i]
    record["cames"] = [
        c
        for c in record["cames"]
        if shapely.LineString(c["path"]).interpolate(0.5, normalized=True).distance(lost) > 0.1
    ]
    return record


def test_a_missed_lead_is_one_wrong_piece_and_silent(truth: Data) -> None:
    s = score(_merged(truth), truth)
    assert not s.every_piece
    assert s.matched_pieces == s.true_pieces - 2
    assert s.traced_pieces == s.true_pieces - 1
    assert (s.wrong, s.silent) == (1, 1)
    assert s.missed_mm > 10


@pytest.mark.parametrize(
    ("severity", "by_number", "silent"),
    [("check", True, 0), ("check", False, 0), ("wrong", True, 0), ("note", True, 1)],
)
def test_a_finding_breaks_the_silence(
    truth: Data, severity: str, by_number: bool, silent: int
) -> None:
    record = _merged(truth)
    numbers = [p["number"] for p in record["pieces"]]
    right = {p["number"] for p in record["pieces"] if p in faked(truth)["pieces"]}
    bad = next(n for n in numbers if n not in right)
    piece = next(p for p in record["pieces"] if p["number"] == bad)
    finding: Data = {"code": "doubtful-lead", "severity": severity, "message": "", "pieces": []}
    if by_number:
        finding["pieces"] = [bad]
    else:
        finding["at"] = piece["outline"][0]
    record["findings"] = [finding]
    s = score(record, truth)
    assert (s.wrong, s.silent) == (1, silent)


def test_a_far_finding_leaves_the_silence(truth: Data) -> None:
    record = _merged(truth)
    record["findings"] = [{"code": "x", "severity": "check", "message": "", "at": [-80.0, -80.0]}]
    assert score(record, truth).silent == 1


def test_a_false_lead_and_its_joints_are_counted(truth: Data) -> None:
    record = faked(truth)
    a = truth["pieces"][0]["outline"]
    middle = np.mean(np.array(a[:-1]), axis=0)
    record["joints"] += [
        {"id": "Jx", "x": middle[0] - 8, "y": middle[1], "kind": "tee"},
        {"id": "Jy", "x": middle[0] + 8, "y": middle[1], "kind": "end"},
    ]
    path = [[middle[0] - 8, middle[1]], [middle[0] + 8, middle[1]]]
    record["cames"] += [
        {"start": "Jx", "end": "Jy", "path": path, "face_width_mm": 5.0},
        {"start": "Jx", "end": "Jx", "path": [path[0], path[0]], "face_width_mm": 5.0},
    ]
    s = score(record, truth)
    assert s.false_mm == pytest.approx(17, abs=2)
    assert s.traced_joints == s.true_joints + 1
    assert s.matched_joints == s.true_joints


@pytest.mark.parametrize(("error", "share"), [(0.35, 1.0), (0.45, 0.0)])
def test_widths_are_compared_with_what_shows(truth: Data, error: float, share: float) -> None:
    record = faked(truth)
    for c in record["cames"]:
        c["shown_width_mm"] += error
    s = score(record, truth)
    assert s.width_as_shown_mm == pytest.approx(share * s.width_mm)
    assert s.width_as_face_mm == s.width_mm


def test_a_crossing_read_as_two_joints_costs_precision(truth: Data) -> None:
    record = copy.deepcopy(faked(truth))
    k = next(i for i, j in enumerate(truth["joints"]) if j["kind"] == "crossing")
    old = record["joints"][k]
    record["joints"].append({"id": "Jx", "x": old["x"] + 2.0, "y": old["y"], "kind": "tee"})
    used = [c for c in record["cames"] if old["id"] in (c["start"], c["end"])]
    for c in used[:2]:
        end = "start" if c["start"] == old["id"] else "end"
        c[end] = "Jx"
    bridge = [[old["x"], old["y"]], [old["x"] + 2.0, old["y"]]]
    record["cames"].append({"start": old["id"], "end": "Jx", "path": bridge, "face_width_mm": 5.0})
    s = score(record, truth)
    assert s.matched_joints == s.true_joints
    assert s.traced_joints == s.true_joints + 1


def test_a_refusal_is_wrong_but_not_silent(truth: Data) -> None:
    s = refused(truth, "exit 5: no lead")
    assert s.wrong == s.true_pieces == len(truth["pieces"])
    assert s.silent == 0
    assert s.piece_f1 == 0.0
    assert "exit 5" in case_line("x", s)


def test_the_table_says_what_was_missed(truth: Data) -> None:
    good, bad = score(faked(truth), truth), refused(truth, "exit 5")
    assert "MISSED" not in table({("clean", "scan"): [good]})
    assert "0.667 (>= 0.990 MISSED)" in table({("clean", "scan"): [good, bad]})


def test_the_library_chain_reads_a_plain_window(tmp_path: Path) -> None:
    """Four panes of 60 mm drawn with lines 5 mm wide, at 5 pixels per mm."""
    from benchmarks.chain import traced

    picture = np.full((900, 900), 230, np.uint8)
    for a in (150, 450, 750):
        cv2.line(picture, (a, 150), (a, 750), 70, 25)
        cv2.line(picture, (150, a), (750, a), 70, 25)
    cv2.imwrite(str(tmp_path / "window.png"), picture)
    k = 5.0
    told = {
        "image": "window.png",
        "width_mm": 120.0,
        "height_mm": 120.0,
        "homography": [k, 0, 150, 0, -k, 750, 0, 0, 1],
        "centre_px": [450, 450],
        "radius_px": 636.0,
        "k1": 0.0,
        "px_per_mm": k,
    }
    record = traced(tmp_path, told)
    areas = [cv2.contourArea(np.array(p["outline"], np.float32)) for p in record["pieces"]]
    assert len(areas) == 4
    assert areas == pytest.approx([3600] * 4, rel=0.02)
    assert np.median([c["face_width_mm"] for c in record["cames"]]) == pytest.approx(5, abs=0.8)
