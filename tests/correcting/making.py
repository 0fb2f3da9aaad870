"""Drawn panels and corrections for the tests of correcting."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rubbing2pattern import apply_corrections
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.correction_tables import Corrections
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options import Options
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.record.panel import panel_of, record_of, record_text
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.workflows.corrected_panel import Corrected
from tests import nets

HEAD = 'by = "A. Glazier"\ndate = 2026-11-25\n'
OPTIONS = Options()


def panel_from(net: LeadNet) -> Panel:
    """Return the panel of a net as its record gives it back."""
    cut = replace(cut_pieces(net, OPTIONS.pieces), seen_from="inside")
    panel = audit(cut, OPTIONS.audit)
    return panel_of(record_of(panel, {}))


def said(text: str, head: str = HEAD) -> Corrections:
    return corrections_from((head + text).encode()).corrections


def corrected(panel: Panel, text: str, head: str = HEAD) -> Corrected:
    return apply_corrections(panel, said(text, head))


def piece(panel: Panel, number: int) -> Piece:
    return next(p for p in panel.pieces if p.number == number)


def text_of(panel: Panel) -> str:
    return record_text(record_of(panel, {}))


def refused(panel: Panel, text: str, *words: str) -> None:
    before = text_of(panel)
    with pytest.raises(UsageFault) as caught:
        corrected(panel, text)
    for word in words:
        assert word in str(caught.value)
    assert text_of(panel) == before


# Four pieces of 100 by 150 mm: 1 and 2 above, 3 and 4 below.
FOUR = panel_from(nets.two_by_two().net())
RING = panel_from(nets.ring_in_frame().net())
ACROSS = "[[split_piece]]\npiece = 1\nfrom = [0, 200]\nto = [100, 210]\n"
