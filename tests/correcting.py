"""Drawn panels and corrections for the tests of correcting."""

from __future__ import annotations

from rubbing2pattern import apply_corrections
from rubbing2pattern.correct import Corrected
from rubbing2pattern.corrections import Corrections, corrections_from
from rubbing2pattern.documents.record import panel_of, record_of
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options import Options
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.pieces import cut_pieces

HEAD = 'by = "A. Glazier"\ndate = 2026-11-25\n'
OPTIONS = Options()


def panel_from(net: LeadNet) -> Panel:
    """Return the panel of a net as its record gives it back."""
    panel = audit(cut_pieces(net, OPTIONS.pieces), OPTIONS.audit)
    return panel_of(record_of(panel, {}))


def said(text: str, head: str = HEAD) -> Corrections:
    return corrections_from((head + text).encode()).corrections


def corrected(panel: Panel, text: str, head: str = HEAD) -> Corrected:
    return apply_corrections(panel, said(text, head))


def piece(panel: Panel, number: int) -> Piece:
    return next(p for p in panel.pieces if p.number == number)
