"""References: what is well written comes out as numbers, what is not gets a message that helps."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.inputs.reference import (
    Dpi,
    Mark,
    Ruler,
    Sheet,
    TargetDistance,
    TargetPosition,
    parse_reference,
    read_marks,
    read_targets,
)
from tests.working import grows_with_the_panel

MARKS = "pixel_x,pixel_y,x_mm,y_mm\n10,20,0,0\n900.5,22,500,0\n905,700,500,400\n8,690,0,400\n"
DISTANCES = "id_a,id_b,distance_mm\n0,1,500\n1,2,400\n2,3,500\n3,0,400\n0,2,640.3\n1,3,640.3\n"


def written(folder: Path, text: str, name: str = "list.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_dpi():
    assert parse_reference(dpi="200") == Dpi(200.0)
    assert parse_reference(dpi=199.5) == Dpi(199.5)


@pytest.mark.parametrize("text", ["0", "-200", "abc", "", "nan", "inf", "9", "20001", "2_00"])
def test_bad_dpi(text):
    with pytest.raises(UsageFault, match=r"--dpi .* from 10 to 20000"):
        parse_reference(dpi=text)


def test_ruler():
    ruler = parse_reference(ruler="577.8,2823.9 2038.3,2826.6 200mm")
    assert ruler == Ruler((577.8, 2823.9), (2038.3, 2826.6), 200.0)
    inches = parse_reference(ruler="1,2  300,400   7 7/8 in")
    assert isinstance(inches, Ruler)
    assert inches.length_mm == pytest.approx(7.875 * 25.4, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1,2 3,4",
        "1,2,3,4 200mm",
        "1;2 3;4 200mm",
        "a,b 3,4 200mm",
        "1,2 1,2 200mm",
        "1,2 300,4 0mm",
        "1,2 300,4 200 stone",
        "1,2 nan,4 200mm",
        "1,2 300,4 -200mm",
    ],
)
def test_bad_ruler(text):
    with pytest.raises(UsageFault):
        parse_reference(ruler=text)


def test_sheet():
    assert parse_reference(sheet="614x774mm") == Sheet(614.0, 774.0)
    assert parse_reference(sheet="A1") == Sheet(594.0, 841.0)  # ISO 216
    with pytest.raises(UsageFault):
        parse_reference(sheet="614")


def test_a_star_between_the_sides_is_read() -> None:
    assert parse_reference(sheet="614*774") == Sheet(614.0, 774.0)


@pytest.mark.parametrize(
    ("given", "form"),
    [
        ({"sheet": "614 774"}, "write it as 614x774mm"),
        ({"sheet": "614,774mm"}, "write it as 614x774mm"),
        ({"sheet": "24 by 36 in"}, "write it as 24x36in"),
        ({"sheet": "614"}, "--sheet: cannot read the sheet '614': write it like 614x774mm"),
        (
            {"sheet": "24x36"},
            "each side must be 60 mm or more; for inches write --sheet 24x36in",
        ),
        ({"dpi": "200dpi"}, "write it like --dpi 200"),
        ({"ruler": "577,2823,2038,2826,200mm"}, 'write --ruler "577,2823 2038,2826 200mm"'),
        ({"ruler": "577,2823 2038,2826"}, 'write --ruler "577,2823 2038,2826 200mm"'),
    ],
)
def test_a_wrong_form_gets_the_right_one_back(given: dict[str, str], form: str) -> None:
    with pytest.raises(UsageFault) as caught:
        parse_reference(**given)
    assert form in str(caught.value)


@pytest.mark.parametrize("given_two", [{"dpi": "200", "sheet": "A1"}, {}])
def test_exactly_one(given_two):
    with pytest.raises(UsageFault, match=r"exactly one .*given: (--dpi and --sheet|none)"):
        parse_reference(**given_two)


def test_marks(tmp_path):
    marks = read_marks(written(tmp_path, MARKS))
    assert marks.source == "list.csv"
    assert marks.marks[1] == Mark("mark 2 (line 3)", (900.5, 22.0), (500.0, 0.0))
    assert parse_reference(marks=str(tmp_path / "list.csv")) == marks


def test_marks_in_other_order_with_names_and_remarks(tmp_path):
    text = (
        "\ufeff# taken with the steel rule\r\nname, X_MM,y_mm,pixel_x,pixel_y\r\n\r\n"
        "upper left,0,400,8,690\r\n,0,0,10,20\r\nc,500,0,900,22\r\nd,500,400,905,700\r\n"
    )
    marks = read_marks(written(tmp_path, text)).marks
    assert marks[0] == Mark("mark upper left (line 4)", (8.0, 690.0), (0.0, 400.0))
    assert marks[1].name == "mark 2 (line 5)"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("pixel_x,", "", "line 1: the header must be"),
        ("x_mm", "x_in", "line 1: the header must be"),
        (",", ";", "separator is a comma"),
        ("900.5", "9oo.5", r"line 3, column pixel_x: '9oo\.5': not a number"),
        ("900.5", "", "line 3, column pixel_x: '': not a number"),
        ("900.5", "inf", "line 3, column pixel_x"),
        ("900.5,22", "900,5,22", "line 3: 5 fields instead of 4"),
        ("8,690,0,400\n", "", "3 marks, but four"),
        ("8,690", "905,700", r"mark 3 \(line 4\) and mark 4 \(line 5\) have the same pixel"),
        (
            "690,0,400\n",
            "690,0,0\n",
            r"mark 1 \(line 2\) and mark 4 \(line 5\) have the same position",
        ),
        ("10,20", '"10,20', "line"),
    ],
)
def test_bad_marks(tmp_path, old, new, message):
    path = written(tmp_path, MARKS.replace(old, new))
    with pytest.raises(UsageFault, match=message) as caught:
        read_marks(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_target_positions(tmp_path):
    targets = read_targets(written(tmp_path, "id,x_mm,y_mm\n3,0,0\n1,500,0\n0,500,400\n7,0,400\n"))
    assert targets.positions[0] == TargetPosition(3, 0.0, 0.0)
    assert targets.ids == (0, 1, 3, 7)


def test_target_distances(tmp_path):
    targets = read_targets(written(tmp_path, DISTANCES))
    assert targets.distances[4] == TargetDistance(0, 2, 640.3)
    assert targets.ids == (0, 1, 2, 3)
    assert parse_reference(targets=tmp_path / "list.csv") == targets


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("id,x,y\n", "header must be id,x_mm,y_mm or id_a,id_b,distance_mm"),
        ("id,x_mm,y_mm\n0,0,0\n1,1,0\n2,1,1\n", r"3 targets \(0, 1, 2\), four are needed"),
        ("id,x_mm,y_mm\n", r"0 targets \(none\)"),
        (
            "id,x_mm,y_mm\n0,0,0\n0,1,0\n2,1,1\n3,0,1\n",
            "lines 2 and 3: target 0 is listed twice",
        ),
        ("id,x_mm,y_mm\n0,0,0\n1,0,0\n2,1,1\n3,0,1\n", "targets 0 and 1 have the same position"),
        ("id,x_mm,y_mm\n50,0,0\n", "line 2, column id: '50': .* 0 to 49"),
        ("id,x_mm,y_mm\n-1,0,0\n", "line 2, column id"),
        ("id,x_mm,y_mm\n1.5,0,0\n", "line 2, column id"),
        (DISTANCES.replace("0,1,500", "0,0,500"), "line 2: the distance of target 0 from itself"),
        (DISTANCES.replace("0,1,500", "0,1,-5"), "line 2, column distance_mm"),
        (DISTANCES.replace("0,1,500\n1,2,400\n", ""), "4 distances between 4 targets; at least 5"),
    ],
)
def test_bad_targets(tmp_path, text, message):
    with pytest.raises(UsageFault, match=message):
        read_targets(written(tmp_path, text))


@pytest.mark.parametrize("read", [read_marks, read_targets])
def test_unreadable_files(tmp_path, read):
    with pytest.raises(InputUnreadable, match=r"nothing\.csv: No such file"):
        read(tmp_path / "nothing.csv")
    with pytest.raises(InputUnreadable, match="directory"):
        read(tmp_path)
    (tmp_path / "picture.csv").write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    with pytest.raises(InputUnreadable, match="not text"):
        read(tmp_path / "picture.csv")
    with pytest.raises(UsageFault, match="found nothing"):
        read(written(tmp_path, ""))
    (tmp_path / "long.csv").write_bytes(b"1" * 1_000_001)
    with pytest.raises(InputUnreadable, match="megabyte"):
        read(tmp_path / "long.csv")
    if os.geteuid() != 0:
        (tmp_path / "long.csv").chmod(0)
        with pytest.raises(InputUnreadable, match="Permission"):
            read(tmp_path / "long.csv")


@given(st.text(max_size=60))
def test_no_text_is_a_defect(text):
    """Whatever is written after an option, it is read or refused, never a defect."""
    for kind in ("dpi", "ruler", "sheet"):
        try:
            parse_reference(**{kind: text})
        except UsageFault as fault:
            assert fault.exit_code == 2


@given(st.text(alphabet="pixel_xyidmab,0123456789.\n\"'#;-", max_size=120))
def test_no_list_is_a_defect(tmp_path_factory, text):
    path = written(tmp_path_factory.getbasetemp(), text)
    for read in (read_marks, read_targets):
        with pytest.raises(UsageFault):
            read(path)


def test_marks_are_read_in_linear_time(tmp_path: Path) -> None:
    def refused(count: int) -> None:
        path = tmp_path / f"{count}.csv"
        lines = (f"{k},{k % 7},{k},{k % 7}\n" for k in range(count))
        path.write_text("pixel_x,pixel_y,x_mm,y_mm\n" + "".join(lines), encoding="utf-8")
        with pytest.raises(UsageFault, match=f"{count} marks, but at most 200 are read"):
            read_marks(path)

    grows_with_the_panel(lambda: refused(1000), lambda: refused(2000))
