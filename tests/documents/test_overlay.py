"""The overlay: the rubbing straight on, in the panel's frame; its marks can be distinguished."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image, ImageFont
from shapely.geometry import LineString

from rubbing2pattern.documents.formats.picture_font import CAPITALS, picture_font, shown_text
from rubbing2pattern.documents.kept_rubbing import (
    KeptRubbing,
    around_leads,
    keep_rubbing,
    overlay_frame,
    read_rubbing,
)
from rubbing2pattern.documents.overlay import (
    BLUE,
    SEVERITY_COLOURS,
    VERMILION,
    listed_findings,
    overlay_png as overlay_of,
)
from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.findings import Code, Finding, Kind, Severity, finding_of
from rubbing2pattern.geometry.frame import Frame, Placement, Warp
from rubbing2pattern.model import Corrected, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Rubbing
from rubbing2pattern.units import Unit
from tests import panels
from tests.documents.photographed import photograph

OPTIONS = DocumentOptions(overlay_px_per_mm=4.0)
TURNED = Placement(3.0, -40.0, -30.0)
TILTED = Warp((3.0, 0.15, 60.0, -0.1, -3.0, 1450.0, 1e-4, 5e-5, 1.0), 0.03, (600.0, 750.0), 960.0)


def overlay_png(rubbing: Rubbing, panel: Panel, options: DocumentOptions) -> bytes:
    return overlay_of(keep_rubbing(rubbing, panel, options), panel, options)


def picture(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


@pytest.fixture(scope="module")
def panel() -> Panel:
    return replace(panels.two_by_two(), placement=TURNED)


@pytest.fixture(scope="module")
def kept(panel: Panel) -> KeptRubbing:
    return keep_rubbing(photograph(panel, TILTED, 1200, 1500), panel, OPTIONS)


@pytest.fixture(scope="module")
def shown(panel: Panel, kept: KeptRubbing) -> tuple[np.ndarray, Frame]:
    return picture(overlay_of(kept, panel, OPTIONS)), overlay_frame(panel, OPTIONS)


def test_rubbing_and_pattern_lie_on_each_other(
    panel: Panel, shown: tuple[np.ndarray, Frame]
) -> None:
    """Half way between lead line and leaf edge the rubbing is dark; beyond the edge it is light."""
    pixels, frame = shown
    for came in panel.cames:
        path = LineString(came.path)
        for share, side in itertools.product((0.3, 0.7), (-1.0, 1.0)):
            for away_mm, dark in (
                (0.25 * came.face_width_mm, True),
                (0.5 * came.face_width_mm + 1.0, False),
            ):
                place = path.offset_curve(side * away_mm).interpolate(share, normalized=True)
                column, row = np.round(frame.to_px([(place.x, place.y)])[0]).astype(int)
                value = pixels[row, column]
                assert bool(value.max() < 150) is dark, (came.id, away_mm, value)


def test_lines_have_their_colours(panel: Panel, shown: tuple[np.ndarray, Frame]) -> None:
    pixels, frame = shown
    column, row = np.round(frame.to_px([(75.0, 200.0)])[0]).astype(int)
    assert np.abs(pixels[row - 1 : row + 2, column] - VERMILION).sum(axis=1).min() < 30
    column, row = np.round(frame.to_px([(75.0, 202.45)])[0]).astype(int)
    assert np.abs(pixels[row - 1 : row + 2, column] - BLUE).sum(axis=1).min() < 60


def test_bridged_parts_are_dashed(panel: Panel, shown: tuple[np.ndarray, Frame]) -> None:
    """C2 runs from (150, 400) to the right; it is bridged from 10 to 24.5 mm."""
    pixels, frame = shown

    def red_share(x_min: float, x_max: float) -> float:
        ends = frame.to_px([(x_min, 400.0), (x_max, 400.0)])
        a, b = np.round(ends[:, 0]).astype(int)
        row = round(ends[0, 1])
        line = pixels[row - 1 : row + 2, a:b]
        return float((np.abs(line - VERMILION).sum(axis=2).min(axis=0) < 60).mean())

    assert red_share(180.0, 290.0) > 0.98
    assert 0.3 < red_share(160.5, 174.0) < 0.8


def test_findings_are_marked_by_colour_and_listed_below(
    panel: Panel, shown: tuple[np.ndarray, Frame]
) -> None:
    pixels, frame = shown
    assert pixels.shape[1] == frame.width_px
    assert pixels.shape[0] > frame.height_px + 60
    for finding in panel.findings:
        if finding.at is None:
            continue
        column, row = np.round(frame.to_px([finding.at])[0]).astype(int)
        near = pixels[row - 18 : row + 18, column - 18 : column + 18].reshape(-1, 3)
        colour = np.array(SEVERITY_COLOURS[finding.severity])
        assert (np.abs(near - colour).sum(axis=1) < 12).sum() > 40
    below = pixels[frame.height_px :]
    for severity in {f.severity for f in panel.findings}:
        assert (np.abs(below - SEVERITY_COLOURS[severity]).sum(axis=2) < 12).sum() > 40


def test_severities_differ_in_grey_too() -> None:
    """Rec. ITU-R BT.601 luma tells them apart on a black and white print, as their shapes do."""
    lumas = sorted(0.299 * r + 0.587 * g + 0.114 * b for r, g, b in SEVERITY_COLOURS.values())
    assert np.diff(lumas).min() > 25.0


def test_same_input_same_bytes(panel: Panel) -> None:
    rubbing = photograph(panel, Warp.similarity(2.0, 1000), 800, 1000)
    assert overlay_png(rubbing, panel, OPTIONS) == overlay_png(rubbing, panel, OPTIONS)


def test_size_is_limited() -> None:
    panel = panels.two_by_two(1500.0, 2000.0)
    frame = overlay_frame(panel, DocumentOptions(overlay_limit_mp=2.0))
    assert frame.width_px * frame.height_px == pytest.approx(2e6, rel=0.01)
    assert frame.px_per_mm < 1.0


def test_a_picture_that_shows_only_a_part_is_white_elsewhere(panel: Panel) -> None:
    rubbing = photograph(panel, Warp.similarity(2.0, 300), 300, 300)
    pixels = picture(overlay_png(rubbing, replace(panel, findings=()), OPTIONS))
    frame = overlay_frame(panel, OPTIONS)
    column, row = np.round(frame.to_px([(250.0, 330.0)])[0]).astype(int)
    assert pixels[row, column].min() >= 250


def test_leads_beyond_the_edge_of_the_kept_rubbing_are_drawn_on_white(panel: Panel) -> None:
    """A lead 70 mm to the left of the panel; what was there before stays where it is."""
    frame = Frame.over((-15.0, -15.0, 315.0, 415.0), 1.0)
    grey = np.random.default_rng(3).integers(0, 255, (frame.height_px, frame.width_px), np.uint8)
    rubbing = KeptRubbing(frame, grey, b"")
    out = replace(panel.cames[0], path=np.array([(-70.0, 10.0), (-70.0, 90.0)]), border=False)
    wider = replace(panel, cames=(*panel.cames, out))
    assert around_leads(rubbing, panel, OPTIONS) is rubbing
    shown = around_leads(rubbing, wider, OPTIONS)
    left = shown.frame.width_px - frame.width_px
    reach = 70.0 + 0.5 * out.face_width_mm + OPTIONS.overlay_margin_mm
    assert shown.frame.bounds_mm == pytest.approx((-reach, *frame.bounds_mm[1:]), abs=1.0)
    assert (shown.grey[:, left:] == grey).all() and (shown.grey[:, :left] == 255).all()
    drawn = picture(overlay_of(rubbing, wider, OPTIONS))
    column, row = np.round(shown.frame.to_px([(-70.0, 50.0)])[0]).astype(int)
    assert tuple(drawn[row, column]) == VERMILION


def test_many_findings_are_not_all_spelled_out(panel: Panel) -> None:
    many = tuple(Finding(Code.FREE_END, Severity.NOTE, f"End {k} is free.") for k in range(90))
    rubbing = photograph(panel, Warp.similarity(2.0, 300), 300, 300)
    few = picture(overlay_png(rubbing, replace(panel, findings=many[:61]), OPTIONS))
    lots = picture(overlay_png(rubbing, replace(panel, findings=many), OPTIONS))
    assert few.shape == lots.shape


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_list_below_gives_name_place_and_sentence(panel: Panel, units: Unit) -> None:
    gap = finding_of(
        Kind.BRIDGED_GAP, (50.8, 254.0), cames=("C4",), joints=("J2",), gap_mm=31.75, from_mm=101.6
    )
    whole = finding_of(Kind.NO_STRAIGHT_SIDE)
    drawn = replace(panel, findings=(replace(gap, id="F14"), replace(whole, id="F3")))
    lines = listed_findings(drawn, ImageFont.load_default(10.0), 1e6, units)
    place = "x 50.8 mm, y 254.0 mm" if units == "mm" else "x 2 in, y 10 in"
    assert lines[0] == (Severity.CHECK, f"F14 bridged-gap at {place}: {gap.sentence(units)}")
    assert lines[1] == (Severity.NOTE, f"F3 not-levelled: {whole.message}")


def test_a_warp_follows_the_panel_s_frame() -> None:
    places = [(10.0, 20.0), (300.0, 5.0), (150.0, 390.0)]
    on_sheet = TURNED.inverse().apply(places)
    assert np.allclose(TILTED.placed(TURNED).to_px(places), TILTED.to_px(on_sheet), atol=1e-8)


def test_the_kept_rubbing_gives_the_same_overlay(
    panel: Panel, kept: KeptRubbing, tmp_path: Path
) -> None:
    (tmp_path / "rubbing.png").write_bytes(kept.png)
    again = read_rubbing(tmp_path / "rubbing.png", kept.frame)
    assert overlay_of(again, panel, OPTIONS) == overlay_of(kept, panel, OPTIONS)
    with Image.open(io.BytesIO(kept.png)) as opened:  # outside check: Pillow reads the resolution
        assert opened.mode == "L"
        assert opened.info["dpi"][0] == pytest.approx(kept.frame.px_per_mm * 25.4, rel=1e-3)


@pytest.mark.parametrize("content", [b"", b"no picture", None])
def test_a_kept_rubbing_that_cannot_be_read(content: bytes | None, tmp_path: Path) -> None:
    path = tmp_path / "rubbing.png"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputUnreadable, match="trace the rubbing again"):
        read_rubbing(path, Frame(2.0, 0.0, 10.0, 20, 20))


@pytest.mark.parametrize("damage", ["cut off", "a byte", "no end"])
def test_a_damaged_kept_rubbing_is_refused_and_not_filled_in(
    kept: KeptRubbing, tmp_path: Path, capfd: pytest.CaptureFixture[str], damage: str
) -> None:
    spoilt = bytearray(kept.png)
    match damage:
        case "cut off":
            del spoilt[len(spoilt) // 2 :]
        case "a byte":
            spoilt[len(spoilt) // 2] ^= 1
        case "no end":
            del spoilt[-12:]
    (tmp_path / "rubbing.png").write_bytes(spoilt)
    with pytest.raises(InputUnreadable, match=r"is damaged.*trace the rubbing again"):
        read_rubbing(tmp_path / "rubbing.png", kept.frame)
    assert capfd.readouterr().err == "", "a decoder wrote a line of its own"


def test_a_kept_rubbing_of_another_size_is_refused(kept: KeptRubbing, tmp_path: Path) -> None:
    (tmp_path / "rubbing.png").write_bytes(kept.png)
    with pytest.raises(InputUnreadable, match="record says 20 x 20"):
        read_rubbing(tmp_path / "rubbing.png", replace(kept.frame, width_px=20, height_px=20))


def test_corrected_leads_are_marked_by_shape_not_by_colour(panel: Panel, kept: KeptRubbing) -> None:
    """White diamonds with a black edge stand on a corrected lead and on no other."""
    marked = tuple(
        replace(c, corrected=Corrected.MOVED if k == 0 else Corrected.NO)
        for k, c in enumerate(panel.cames)
    )
    plain = picture(overlay_of(kept, panel, OPTIONS)).sum(axis=2)
    with_marks = picture(overlay_of(kept, replace(panel, cames=marked), OPTIONS)).sum(axis=2)
    height = kept.frame.height_px
    changed = np.argwhere(plain[:height] != with_marks[:height])
    at = kept.frame.to_mm(changed[:, ::-1])
    away = shapely.distance(LineString(panel.cames[0].path), shapely.points(at))
    assert len(changed) > 200
    assert away.max() < 2.5
    assert with_marks[:height][tuple(changed.T)].max() == 3 * 255
    assert (plain[height:] != with_marks[height:]).any()


def test_every_letter_of_a_message_shows() -> None:
    """Signs that the type does not have are one and the same empty box."""
    font = picture_font(20.0)
    said = "mm² ½ × – … Öß é “ ” ° ± Łš"
    assert shown_text(said) == said
    boxes = [bytes(font.getmask(c)) for c in said if not c.isspace()]
    assert bytes(font.getmask("\uffff")) not in boxes
    assert len(set(boxes)) == len({*said} - {" "})
    assert shown_text("ǎ 窓") == "a ?"


def test_a_type_is_known_by_its_metrics() -> None:
    size_px = 1000.0
    _, top, _, low = picture_font(size_px).getbbox("H")
    assert (low - top) / size_px == pytest.approx(CAPITALS, abs=0.002)
