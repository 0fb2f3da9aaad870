"""The layers of the pattern, by their trade names."""

from __future__ import annotations

from rubbing2pattern.documents.drawing import Layer, LineType

LEAD_LINE = "lead line"
FACE = "face"
HEART = "heart"
BORDER = "border"
CUT_OUTLINE = "cut outline"
SIGHT_OUTLINE = "sight outline"
JOINT = "joint"
PIECE_NUMBER = "piece number"
WIDTH_LETTER = "width letter"
STRIP_NUMBER = "strip number"
FINDING = "finding"
PANEL_NOTE = "panel note"
CHECK_LENGTH = "check length"
SHEET_FRAME = "sheet frame"

LAYERS = (
    Layer(SHEET_FRAME, 0.25),
    Layer(CUT_OUTLINE, 0.13, shown=False),
    Layer(SIGHT_OUTLINE, 0.13, LineType.DASHED, shown=False),
    Layer(HEART, 0.09, shown=False),
    Layer(LEAD_LINE, 0.13, LineType.DASH_DOT),
    Layer(FACE, 0.18),
    Layer(BORDER, 0.35),
    Layer(JOINT, 0.13),
    Layer(WIDTH_LETTER, 0.13),
    Layer(STRIP_NUMBER, 0.13),
    Layer(PIECE_NUMBER, 0.18),
    Layer(FINDING, 0.25),
    Layer(CHECK_LENGTH, 0.25),
    Layer(PANEL_NOTE, 0.18),
)
"""All layers in the order in which they are drawn, finest lines first where they meet."""
