"""The scoring of the benchmark, on records made from the truth and spoilt in known ways."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import shapely

from benchmarks.accuracy import columns_of, read
from benchmarks.alignment import Motion, align
from benchmarks.cases import RENDERERS, cases
from benchmarks.doubting import LEAD_DOUBTS, OTHER_DOUBTS
from benchmarks.scoring import Score, refused, score
from benchmarks.tables import FIGURES, case_line, line_quantile, table
from rubbing2pattern.findings import Code
from tests.rendering.designs import draw
from tests.rendering.render import Case, render, write

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
    assert (s.strayed, s.strayed_silent, s.doubted_right, s.findings) == (0, 0, 0, 0)
    assert s.true_cames == s.traced_cames == len(truth["cames"])


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


def _shared(pieces: list[Data]) -> tuple[shapely.LineString, int, int]:
    """Return the longest lead line between two pieces, and which they are, the later one first."""
    shapes = [shapely.Polygon(p["outline"]) for p in pieces]
    pairs = [
        (shapes[i].intersection(shapes[j]).length, i, j)
        for i in range(len(shapes))
        for j in range(i)
    ]
    _, i, j = max(pairs)
    return shapely.line_merge(shapes[i].intersection(shapes[j])), i, j


def _merged(truth: Data) -> Data:
    """Return a record that lost the lead between two pieces."""
    record = faked(truth)
    lost, i, j = _shared(record["pieces"])
    one = shapely.union(*(shapely.Polygon(record["pieces"][k]["outline"]) for k in (i, j)))
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
    assert (s.strayed, s.strayed_silent) == (len(truth["cames"]), 0)
    assert s.piece_f1 == 0.0
    assert "exit 5" in case_line("x", s)


def test_the_table_says_what_was_missed(truth: Data) -> None:
    good, bad = score(faked(truth), truth), refused(truth, "exit 5")
    assert "MISSED" not in table({("first", "clean", "scan"): [good]})
    assert "0.6667 (>= 0.9980 MISSED)" in table({("first", "clean", "scan"): [good, bad]})


def test_straying_is_scored_in_the_frame_of_the_truth(truth: Data) -> None:
    record = faked(truth, Motion(0.02, (30.0, -14.0)))
    came = next(c for c in record["cames"] if len(c["path"]) > 8)
    middle = len(came["path"]) // 2
    came["path"][middle] = [came["path"][middle][0] + 2.5, came["path"][middle][1] + 2.5]
    record["findings"] = [
        {"code": "bridged-gap", "severity": "note", "message": "", "at": came["path"][middle]}
    ]
    s = score(record, truth)
    assert s.strayed == s.strayed_silent > 0
    record["findings"][0]["severity"] = "check"
    s = score(record, truth)
    assert (s.strayed > 0, s.strayed_silent, s.findings) == (True, 0, 1)


def test_every_finding_is_about_leads_or_is_not() -> None:
    assert set(Code) == LEAD_DOUBTS | OTHER_DOUBTS
    assert not LEAD_DOUBTS & OTHER_DOUBTS


@pytest.mark.parametrize(
    ("code", "severity", "doubted"),
    [
        ("doubtful-lead", "check", 1),
        ("border-open", "wrong", 1),
        ("doubtful-lead", "note", 0),
        ("width-uncertain", "check", 0),
        ("reference-residual", "check", 0),
    ],
)
def test_right_pieces_are_doubted_by_findings_about_leads(
    truth: Data, code: str, severity: str, doubted: int
) -> None:
    record = faked(truth)
    inside = np.mean(np.array(record["pieces"][3]["outline"][:-1]), axis=0).tolist()
    finding: Data = {"code": code, "severity": severity, "message": ""}
    for place in ({"at": inside}, {"at": None, "pieces": [4]}, {"at": inside, "pieces": [4]}):
        record["findings"] = [{**finding, **place}]
        assert score(record, truth).doubted_right == doubted


def test_a_doubt_on_a_lead_line_lies_on_both_pieces(truth: Data) -> None:
    record = faked(truth)
    middle = _shared(record["pieces"])[0].interpolate(0.3, normalized=True)
    record["findings"] = [
        {"code": "doubtful-lead", "severity": "check", "message": "", "at": [middle.x, middle.y]}
    ]
    assert score(record, truth).doubted_right == 2


def test_wrong_pieces_are_not_among_the_right_ones_doubted(truth: Data) -> None:
    record = _merged(truth)
    right = {p["number"] for p in record["pieces"] if p in faked(truth)["pieces"]}
    bad = next(p["number"] for p in record["pieces"] if p["number"] not in right)
    some = sorted(right)[:2]
    record["findings"] = [
        {"code": "doubtful-lead", "severity": "check", "message": "", "pieces": [bad, *some]}
    ]
    s = score(record, truth)
    assert (s.doubted_right, s.flagged) == (2, 3)


def _figure(name: str, scores: list[Score], tier: str) -> str:
    return next(f for f in FIGURES if f.name.startswith(name)).cell(scores, tier)


def test_findings_a_panel_are_the_median_of_the_panels_read(truth: Data) -> None:
    scores = [refused(truth, "exit 5")]
    for count in (0, 4, 30):
        record = faked(truth)
        check = {"code": "width-uncertain", "severity": "check", "message": ""}
        note = {"code": "not-levelled", "severity": "note", "message": ""}
        record["findings"] = [check] * count + [note] * 9
        scores.append(score(record, truth))
    assert _figure("findings a panel", scores, "clean") == "4.0 (<= 2.0 MISSED)"
    assert _figure("findings a panel", scores, "hard") == "4.0 (<= 15.0 met)"
    assert _figure("refused", scores, "hard") == "25.0 (<= 2.0 MISSED)"
    assert _figure("refused", scores[1:], "clean") == "0.0 (<= 0.0 met)"


def test_shares_of_leads_and_pieces_stand_in_the_table(truth: Data) -> None:
    record = faked(truth)
    record["cames"][0]["path"] = [[x + 40.0, y + 300.0] for x, y in record["cames"][0]["path"]]
    inside = np.mean(np.array(record["pieces"][3]["outline"][:-1]), axis=0).tolist()
    record["findings"] = [
        {"code": "doubtful-joint", "severity": "check", "message": "", "at": inside}
    ]
    s = score(record, truth)
    share = 100 * s.strayed / (2 * len(truth["cames"]))
    assert s.strayed >= 2
    assert _figure("leads more than 1 mm off", [s], "hard").startswith(f"{share:.2f} (<= 6.00")
    assert _figure("of these without", [s], "clean").startswith(f"{share:.2f} (<= 0.00 MISSED")
    doubted = 100 / s.matched_pieces
    assert _figure("right pieces with", [s], "everyday").startswith(f"{doubted:.1f} (<= 3.0")


def test_cases_tell_their_hand(tmp_path: Path, truth: Data) -> None:
    """The first hand's folders keep the names they have always had."""
    both = [cases(["hard"], ["scan"], ["x"], [3], tmp_path, hand)[0] for hand in RENDERERS]
    assert [r.name for r in both] == ["hard-scan-x-3", "second-hard-scan-x-3"]
    assert [r.folder for r in both] == [tmp_path / "rubbings" / r.name for r in both]
    good, bad = score(faked(truth), truth), refused(truth, "exit 5")
    columns = columns_of({both[0]: good, both[1]: bad}, list(RENDERERS), ["hard"], ["scan"])
    assert columns == {("first", "hard", "scan"): [good], ("second", "hard", "scan"): [bad]}
    assert "| first hand, hard, scan | second hand, hard, scan |" in table(columns)


def test_the_command_line_and_the_reading_alone_score_the_same(tmp_path: Path) -> None:
    """One small scan, read both ways: equal records but for the kept picture, equal scores."""
    folder = tmp_path / "rubbing"
    write(render(Case("strap", "clean", 25, "scan", dpi=100)), folder)
    truth_given = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    whole, _, _ = read(folder, tmp_path / "whole")
    alone, _, _ = read(folder, tmp_path / "alone", only_reading=True)
    assert whole is not None
    assert alone is not None
    assert sorted(p.name for p in (tmp_path / "alone").iterdir()) == ["panel.json"]
    assert (whole.pop("rubbing") is None, alone.pop("rubbing")) == (False, None)
    assert alone == whole
    assert case_line("x", score(alone, truth_given)) == case_line("x", score(whole, truth_given))


def test_the_reading_alone_refuses_as_the_command_line_does(tmp_path: Path) -> None:
    """A sheet without lead: the same exit code and the same sentence."""
    picture = np.random.default_rng(1).normal(215, 2, (700, 700)).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "bare.png"), picture)
    truth_given = {"image": "bare.png", "reference": ["--dpi", "150"]}
    (tmp_path / "truth.json").write_text(json.dumps(truth_given), encoding="utf-8")
    none, why, _ = read(tmp_path, tmp_path / "whole")
    assert (none, why[:6]) == (None, "exit 5")
    assert read(tmp_path, tmp_path / "alone", only_reading=True)[:2] == (None, why)


def test_the_library_chain_reads_a_plain_window(tmp_path: Path) -> None:
    """Four panes of 60 mm drawn with lines 5 mm wide, at 5 pixels per mm."""
    from benchmarks.chain import traced

    picture = np.full((900, 900), 230, np.uint8)
    for a in (150, 450, 750):
        cv2.line(picture, (a, 150), (a, 750), 70, 25)
        cv2.line(picture, (150, a), (750, a), 70, 25)
    cv2.imwrite(str(tmp_path / "window.png"), picture)
    k = 5.0
    truth_given = {
        "image": "window.png",
        "width_mm": 120.0,
        "height_mm": 120.0,
        "homography": [k, 0, 150, 0, -k, 750, 0, 0, 1],
        "centre_px": [450, 450],
        "radius_px": 636.0,
        "k1": 0.0,
        "px_per_mm": k,
    }
    record = traced(tmp_path, truth_given)
    areas = [cv2.contourArea(np.array(p["outline"], np.float32)) for p in record["pieces"]]
    assert len(areas) == 4
    assert areas == pytest.approx([3600] * 4, rel=0.02)
    assert np.median([c["face_width_mm"] for c in record["cames"]]) == pytest.approx(5, abs=0.8)
