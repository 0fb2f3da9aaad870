"""The pattern seen from the other side: turned over in every format, still to be read, marked."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pymupdf
import pytest

from rubbing2pattern.documents import document_files
from rubbing2pattern.documents.drawing.pattern import pattern_drawing
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from tests import panels
from tests.documents.tiled import Array, pages

OPTIONS = DocumentOptions()
SAID = "MIRRORED: seen from the other side"


def files(panel: Panel, *, mirrored: bool) -> dict[str, bytes]:
    return document_files(panel, None, {}, OPTIONS, PaperOptions(mirrored=mirrored))


def turned(x: float, panel: Panel) -> float:
    return panel.width_mm - x


def test_dxf_is_turned_over() -> None:
    """Every lead line lies where x has become the panel's width less x, curves too."""
    panel = panels.arched()
    made = [files(panel, mirrored=m)["pattern.dxf"].decode() for m in (False, True)]
    plain, over = (ezdxf.read(io.StringIO(text)).modelspace() for text in made)
    ends = [
        sorted(
            (round(turned(p.x, panel) if flip else p.x, 4), round(p.y, 4))
            for e in space.query('LINE[layer=="lead line"]')
            for p in (e.dxf.start, e.dxf.end)
            if p.y > -10.0  # The legend's sample below the panel is not turned over.
        )
        for space, flip in ((plain, True), (over, False))
    ]
    assert ends[0] == ends[1]
    assert len(ends[0]) > 8
    middles = []
    for space, flip in ((plain, True), (over, False)):
        (arc,) = space.query('ARC[layer=="lead line"]')
        (spline,) = space.query('SPLINE[layer=="lead line"]')
        control = np.array([tuple(p)[:2] for p in spline.control_points])
        points = np.vstack((middle_of(arc), control))
        middles.append(np.column_stack((turned(points[:, 0], panel) if flip else points[:, 0],
                                        points[:, 1])))  # fmt: skip
    assert middles[0] == pytest.approx(middles[1], abs=1e-6)
    texts = [t.dxf.text for t in over.query("TEXT")]
    assert f"{SAID} (inside)" in texts
    assert not any("MIRRORED" in t.dxf.text for t in plain.query("TEXT"))


def middle_of(arc: ezdxf.entities.Arc) -> Array:
    """Return the point half way along an arc, which runs anticlockwise."""
    start, end = arc.dxf.start_angle, arc.dxf.end_angle
    a = np.radians(0.5 * (start + (end if end > start else end + 360.0)))
    return np.array(
        (
            arc.dxf.center.x + arc.dxf.radius * np.cos(a),
            arc.dxf.center.y + arc.dxf.radius * np.sin(a),
        )
    )


def test_svg_is_turned_over() -> None:
    panel = panels.arched()
    found = []
    for mirrored in (False, True):
        root = ElementTree.fromstring(files(panel, mirrored=mirrored)["pattern.svg"])
        group = next(g for g in root if g.get("id") == "lead-line")
        xs = [
            float(line.get(k) or "nan")
            for line in group
            if line.tag.endswith("line")
            for k in ("x1", "x2")
        ]
        # The legend's sample is not turned over.
        inside = [x for x, y in zip(xs, ys(group), strict=True) if y < panel_bottom(root)]
        found.append(sorted(round(x if mirrored else turned(x, panel), 2) for x in inside))
        words = "".join(root.itertext())
        assert (SAID in words) is mirrored
        assert not re.search(r"scale\(|matrix\(", ElementTree.tostring(root, encoding="unicode"))
    assert found[0] == found[1]
    assert len(found[0]) >= 10


def ys(group: ElementTree.Element) -> list[float]:
    lines = [line for line in group if line.tag.endswith("line")]
    return [float(line.get(k) or "nan") for line in lines for k in ("y1", "y2")]


def panel_bottom(root: ElementTree.Element) -> float:
    """Return y of the check length across, below the panel and above the title block."""
    group = next(g for g in root if g.get("id") == "check-length")
    return float(group[1].get("y1") or "nan")


def numbers(pdf: bytes) -> dict[str, Array]:
    """Return where the piece numbers stand on the single page; all must read from the left."""
    document: pymupdf.Document = pymupdf.open(stream=pdf, filetype="pdf")
    for block in document[0].get_text("dict")["blocks"]:
        for line in block.get("lines", ()):
            assert line["dir"][0] > -0.5, "lettering is upside down or mirrored"
    (page,) = pages(pdf)
    return {text: box.mean(axis=0) for text, box in page.numbers().items()}


def test_pdf_is_turned_over_and_its_lettering_is_not() -> None:
    panel = panels.mosaic(40, 300.0, 400.0)
    plain, over = (numbers(files(panel, mirrored=m)["pattern.pdf"]) for m in (False, True))
    assert set(plain) == set(over) == {str(p.number) for p in panel.pieces}
    sums = np.array([plain[k][0] + over[k][0] for k in plain])
    assert np.ptp(sums) < 0.01, "x and mirrored x add up to the same for all"
    assert np.ptp([plain[k][0] for k in plain]) > 200.0
    apart = np.array([plain[k][1] - over[k][1] for k in plain])
    assert np.ptp(apart) < 0.01


@pytest.mark.parametrize(
    ("seen_from", "said"),
    [("inside", f"{SAID} (outside)"), ("outside", f"{SAID} (inside)"), ("unstated", SAID)],
)
def test_the_sheet_says_so_above_the_panel_and_in_the_title_block(
    seen_from: str, said: str
) -> None:
    panel = replace(panels.two_by_two(), seen_from=seen_from)
    drawing = pattern_drawing(panel, {}, OPTIONS, mirrored=True)
    texts = [mark.text for mark in drawing.marks if hasattr(mark, "text")]
    assert said in texts
    assert sum("MIRRORED" in text for text in texts) == 2
    assert "Seen from" not in " ".join(texts)
    assert "MIRRORED" in drawing.subject
    assert "(mirrored)" in drawing.title
    plain = pattern_drawing(panel, {}, OPTIONS)
    assert not any("MIRRORED" in mark.text for mark in plain.marks if hasattr(mark, "text"))


def test_record_and_lists_are_never_mirrored() -> None:
    plain, over = (files(panels.arched(), mirrored=m) for m in (False, True))
    for name in ("panel.json", "pieces.csv", "cames.csv"):
        assert plain[name] == over[name]
