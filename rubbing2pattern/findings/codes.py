"""How much a finding matters, and the stable names of all kinds of doubt."""

from __future__ import annotations

from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters for the new window."""

    NOTE = "note"
    """worth knowing; nothing need be done"""
    CHECK = "check"
    """look at this place while the panel can still be looked at"""
    WRONG = "wrong"
    """the pattern must not be used before this is settled"""


GRAVEST_FIRST = (Severity.WRONG, Severity.CHECK, Severity.NOTE)
"""The order in which findings are listed."""


class Code(StrEnum):
    """The stable names of all findings."""

    FIRST_PAGE_ONLY = "first-page-only"
    DAMAGED_FILE = "damaged-file"
    LOW_RESOLUTION = "low-resolution"
    REFERENCE_RESIDUAL = "reference-residual"
    SCALE_UNCERTAIN = "scale-uncertain"
    SHEET_EDGE_UNCLEAR = "sheet-edge-unclear"
    FAINT_REGION = "faint-region"
    BRIDGED_GAP = "bridged-gap"
    DOUBTFUL_LEAD = "doubtful-lead"
    POSSIBLE_LEAD = "possible-lead"
    FREE_END = "free-end"
    BORDER_OPEN = "border-open"
    BORDER_CUT_OFF = "border-cut-off"
    DOUBTFUL_JOINT = "doubtful-joint"
    SMALL_PIECE = "small-piece"
    SLIVER_PIECE = "sliver-piece"
    INWARD_CORNER = "inward-corner"
    NO_GLASS_LEFT = "no-glass-left"
    WIDTH_BETWEEN_STOCK = "width-between-stock"
    WIDTH_UNCERTAIN = "width-uncertain"
    GLASS_CUT_OFF = "glass-cut-off"
    GLASS_TOUCHES = "glass-touches"
    GLASS_UNCLEAR = "glass-unclear"
    GLASS_UNREAD = "glass-unread"
    GLASS_SHIFT = "glass-shift"
    NOT_GLASS = "not-glass"
    FEW_FIT = "few-fit"
    DOUBTFUL_MATCH = "doubtful-match"
    NEAREST_PLACE = "nearest-place"
    MAY_BE_TURNED = "may-be-turned"
    PATTERN_OFF = "pattern-off"
    PATTERN_DOUBTED = "pattern-doubted"
    SEPARATE_PARTS = "separate-parts"
    NOT_LEVELLED = "not-levelled"
    SHEET_NOT_FLAT = "sheet-not-flat"
    SHEETS_JOINED = "sheets-joined"
    LEAD_OFF = "lead-off"
    SIDE_NOT_STATED = "side-not-stated"


OF_SHAPE = frozenset(
    {
        Code.FAINT_REGION,
        Code.BRIDGED_GAP,
        Code.DOUBTFUL_LEAD,
        Code.POSSIBLE_LEAD,
        Code.FREE_END,
        Code.BORDER_OPEN,
        Code.BORDER_CUT_OFF,
        Code.DOUBTFUL_JOINT,
        Code.SMALL_PIECE,
        Code.SLIVER_PIECE,
        Code.INWARD_CORNER,
        Code.LEAD_OFF,
    }
)
"""Doubts about where leads run: they may explain glass that does not fit."""
