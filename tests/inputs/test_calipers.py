"""Widths measured on the lead: read, set, and carried over to leads of the same kind."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import pytest

from rubbing2pattern.errors import InputUnreadable, UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.model import Came, Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.stages.level import level
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.workflows.kept_options import options_of
from rubbing2pattern.workflows.provenance import plain
from tests.bands import Drawing, tidied

OPTIONS = PieceOptions()


@pytest.fixture(scope="module")
def net():
    drawing = Drawing().frame(10.0)
    for x in (50.0, 80.0, 110.0):
        drawing.band((x, 20.0), (x, 140.0), width_mm=5.0)
    return level(measure(*tidied(drawing)), Options().level)


@pytest.fixture(scope="module")
def plain_panel(net) -> Panel:
    return cut_pieces(net, OPTIONS)


def inner(panel: Panel) -> list[Came]:
    return sorted((c for c in panel.cames if not c.border), key=lambda c: c.path[0, 0])


def with_calipers(net, *given: str) -> Panel:
    return cut_pieces(net, replace(OPTIONS, calipers=parse_calipers(given)))


def test_one_caliper_sets_its_came_and_calibrates_its_size_only(net, plain_panel) -> None:
    first, second, third = inner(plain_panel)
    panel = with_calipers(net, f"{second.id}=5.7mm")
    a, b, c = inner(panel)
    assert (b.face_width_mm, b.face_width_uncertainty_mm) == (5.7, OPTIONS.caliper_uncertainty_mm)
    for before, after in ((first, a), (third, c)):
        wider = after.face_width_mm - before.face_width_mm
        assert wider == pytest.approx(5.7 - second.face_width_mm, abs=1e-6)
        assert after.shown_width_mm == before.shown_width_mm
    borders = [(x.id, x.face_width_mm) for x in plain_panel.cames if x.border]
    assert [(x.id, x.face_width_mm) for x in panel.cames if x.border] == borders


def test_a_place_in_inches_says_the_same_as_the_came(net, plain_panel, tmp_path: Path) -> None:
    came = inner(plain_panel)[1]
    x, y = came.path.mean(axis=0)
    file = tmp_path / "widths.csv"
    file.write_text(f"x_mm,y_mm,width_mm\n{x + 1.0},{y},1/4 in\n")
    panel = with_calipers(net, str(file))
    assert inner(panel)[1].face_width_mm == pytest.approx(6.35)
    (calipers,) = parse_calipers([str(file)])
    assert calipers.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert inner(panel) and panel.cames[0].id == plain_panel.cames[0].id


def test_a_caliper_that_disagrees_is_reported_and_calibrates_nothing(net, plain_panel) -> None:
    ids = [c.id for c in inner(plain_panel)]
    panel = with_calipers(net, f"{ids[0]}=5.5", f"{ids[1]}=5.6", f"{ids[2]}=8.4")
    reported = [f for f in panel.findings if f.code is Code.WIDTH_UNCERTAIN and "8.4" in f.message]
    assert len(reported) == 1
    assert f"{ids[2]}=8.4" in reported[0].message
    assert [c.face_width_mm for c in inner(panel)] == [5.5, 5.6, 8.4]


def test_two_that_disagree_leave_the_third_as_it_was(net, plain_panel) -> None:
    ids = [c.id for c in inner(plain_panel)]
    panel = with_calipers(net, f"{ids[0]}=5.2", f"{ids[1]}=7.9")
    assert inner(panel)[2].face_width_mm == inner(plain_panel)[2].face_width_mm
    assert sum("caliper width" in f.message for f in panel.findings) == 2


def test_a_caliper_off_every_lead_names_its_row(net, tmp_path: Path) -> None:
    file = tmp_path / "widths.csv"
    file.write_text("x_mm,y_mm,width_mm\n45,60,5\n")
    with pytest.raises(UsageFault, match=r"widths\.csv, line 2.*off the nearest lead"):
        with_calipers(net, str(file))
    with pytest.raises(UsageFault, match="C99"):
        with_calipers(net, "C99=5mm")


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("came;width_mm\nC1;5\n", "line 1"),
        ("came,width_mm\nC1,wide\n", "line 2, column width_mm"),
        ("came,width_mm\nC1,5,6\n", "line 2"),
        ("came,width_mm\n ,5\n", "line 2, column came"),
        ("came,width_mm\nC1,0.3\n", "line 2, column width_mm"),
        ("x_mm,y_mm,width_mm\nnan,3,5\n", "line 2, column x_mm"),
        ("came,width_mm\n", "no width"),
    ],
)
def test_a_malformed_file_names_row_and_column(text: str, named: str, tmp_path: Path) -> None:
    file = tmp_path / "widths.csv"
    file.write_text(text)
    with pytest.raises(UsageFault, match=named) as caught:
        parse_calipers([str(file)])
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("text", ["C1=", "=5mm", "C1=5 miles", "C1=90mm"])
def test_a_malformed_width_is_refused(text: str) -> None:
    with pytest.raises(UsageFault, match="--caliper"):
        parse_calipers([text])


def test_a_file_that_is_not_there_is_unreadable(tmp_path: Path) -> None:
    with pytest.raises(InputUnreadable):
        parse_calipers([str(tmp_path / "none.csv")])


def test_a_record_gives_the_calipers_back(tmp_path: Path) -> None:
    file = tmp_path / "widths.csv"
    file.write_text("x_mm,y_mm,width_mm\n10,20,5\n")
    given = parse_calipers([str(file), "C2=6mm"])
    written = json.loads(json.dumps(plain(given)))
    assert options_of({"options": {"pieces.calipers": written}}).pieces.calipers == given
    with pytest.raises(UsageFault, match="--caliper"):
        replace(OPTIONS, calipers=("C2",))


@pytest.mark.parametrize(
    ("given", "why", "form"),
    [
        ("6.1", "gives no came", '"C12=6.1"'),
        ("=6.1mm", "gives no came", '"C12=6.1mm"'),
        ("C26", "gives no width", '"C26=6.1mm"'),
        ("C26=", "gives no width", '"C26=6.1mm"'),
        ("C26:6.1", "has no sign =", '"C26=6.1"'),
        ("C26 1/4 in", "has no sign =", '"C26=1/4 in"'),
    ],
)
def test_half_of_a_caliper_gets_the_form_back(given: str, why: str, form: str) -> None:
    with pytest.raises(UsageFault) as caught:
        parse_calipers([given])
    message = str(caught.value)
    assert repr(given) in message and why in message
    assert f"write --caliper {form}" in message
