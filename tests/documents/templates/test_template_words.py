"""What is written in a template, and the paper that templates come on."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely.geometry import Polygon

from rubbing2pattern.documents.drawing import Outline, Text
from rubbing2pattern.documents.drawing.lettering import text_box
from rubbing2pattern.documents.templates.one_piece import template_of
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.paper import PaperOptions
from rubbing2pattern.options.templates import TemplateOptions
from tests import panels

OPTIONS = DocumentOptions()
SMALL = panels.mosaic(60, 200.0, 200.0)


@pytest.mark.parametrize("name", ["n4 3b", "Chapel of the ferry, south aisle n4 3b", "x" * 120])
def test_every_template_carries_the_name_of_its_panel(name: str) -> None:
    panel = replace(SMALL, name=name)
    for piece in panel.pieces:
        template = template_of(piece, name, ("ruby", "3 mm"), 90.0, 25.0, OPTIONS)
        texts = [mark.text for mark in template.marks if isinstance(mark, Text)]
        said = " ".join(texts[1:])
        assert name[:40] in said or name[:40] in said.replace(" ", "")


def test_the_name_stays_on_the_cut_out_where_the_piece_has_room() -> None:
    """Its box lies within the cut line, clear of the number."""
    whole = 0
    for piece in SMALL.pieces:
        template = template_of(piece, "n4 3b", (), None, 25.0, OPTIONS)
        number, *lines = (mark for mark in template.marks if isinstance(mark, Text))
        cut = next(m for m in template.marks if isinstance(m, Outline))
        box = shapely.union_all([text_box(t.text, t.at, t.height_mm, t.angle_deg) for t in lines])
        assert " ".join(line.text for line in lines) == "n4 3b"
        assert not box.intersects(
            text_box(number.text, number.at, number.height_mm, number.angle_deg)
        )
        whole += Polygon(cut.points).contains(box)
    assert whole == len(SMALL.pieces)


@pytest.mark.parametrize(
    ("papers", "own", "size"),
    [
        (("auto",), "auto", (210, 297)),
        (("none",), "auto", (210, 297)),
        ((), "auto", (210, 297)),
        (("Letter", "A3"), "auto", (216, 279)),
        (("600x900mm",), "auto", (600, 900)),
        (("Letter",), "A3", (297, 420)),
    ],
)
def test_templates_come_on_the_paper_of_the_pattern(
    papers: tuple[str, ...], own: str, size: tuple[int, int]
) -> None:
    options = TemplateOptions(paper=own).following(PaperOptions(papers=papers))
    assert tuple(round(side or 0.0) for side in options.page_mm("mm")) == size
