"""The lists of cames and joints of a whole folder say what its record and strips say."""

from __future__ import annotations

import pytest

from tests.documents.agreeing import CASES, Folder, made, near


@pytest.fixture(scope="module", params=CASES)
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Folder:
    return made(request.param, tmp_path_factory.mktemp("agree"))


def test_cames_against_record_and_strips(folder: Folder) -> None:
    cames, strips = folder.record["cames"], folder.rows("strips.csv")
    strip_of = {name: row["strip"] for row in strips for name in row["cames"].split()}
    half = folder.half_fine_mm
    for row, came in zip(folder.rows("cames.csv"), cames, strict=True):
        ends = (came["id"], came["start"], came["end"], came["stock"], came["profile"])
        assert (row["came"], row["start"], row["end"], row["stock"], row["profile"]) == ends
        near(folder.length_mm(row, "length"), came["length_mm"], folder.half_length_mm, row["came"])
        near(folder.fine_mm(row, "face_width"), came["face_width_mm"], half, row["came"])
        known = came["face_width_uncertainty_mm"]
        if known is None:
            assert row[f"face_width_uncertainty_{folder.unit}"] == ""
        else:
            near(folder.fine_mm(row, "face_width_uncertainty"), known, half, row["came"])
        assert row["strip"] == strip_of[came["id"]]
        assert row["run"] == str(came["strip"])
        assert row["border"] == ("yes" if came["border"] else "no")
        assert row["pieces"].split() == [str(n) for n in dict.fromkeys(came["pieces"])]


def test_joints_against_record_and_cames(folder: Folder) -> None:
    cames, half = folder.rows("cames.csv"), folder.half_fine_mm
    for row, joint in zip(folder.rows("joints.csv"), folder.record["joints"], strict=True):
        assert (row["joint"], row["kind"]) == (joint["id"], joint["kind"])
        for name in ("x", "y"):
            near(folder.fine_mm(row, name), joint[name], half, row["joint"])
        near(folder.fine_mm(row, "uncertainty"), joint["uncertainty_mm"], half, row["joint"])
        meeting = {came["came"] for came in cames if row["joint"] in (came["start"], came["end"])}
        assert set(row["cames"].split()) == meeting
