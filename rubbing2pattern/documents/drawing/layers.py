"""The layers of the pattern, by their trade names."""

from __future__ import annotations

from dataclasses import replace

from rubbing2pattern.documents.drawing import Layer, LineType
from rubbing2pattern.options.documents import DocumentOptions

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
CAME_ID = "came id"
JOINT_ID = "joint id"
FINDING = "finding"
EDGE_SCALE = "edge scale"
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
    Layer(EDGE_SCALE, 0.13),
    Layer(CHECK_LENGTH, 0.25),
    Layer(PANEL_NOTE, 0.18),
)
"""All layers in the order in which they are drawn, finest lines first where they meet."""

ON_WISH = {"heart": HEART, "cut": CUT_OUTLINE, "sight": SIGHT_OUTLINE}
"""Layers that are printed when `DocumentOptions.lines` names them."""
IDS_ON_WISH = {"came": CAME_ID, "joint": JOINT_ID}
"""Layers that there are when `DocumentOptions.ids` names them."""


def layers_for(options: DocumentOptions) -> tuple[Layer, ...]:
    """Return the layers of a pattern: what is asked for is shown, and has a sample of its own.

    A sample of a cut line is on another layer, so that no cutter follows it.
    """
    shown = {ON_WISH[name] for name in options.lines}
    layers = [
        replace(layer, shown=layer.shown or layer.name in shown)
        for layer in LAYERS
        if layer.name != EDGE_SCALE or options.edge_scale
    ]
    samples = [
        replace(layer, name=sample_of(layer.name)) for layer in layers if layer.name in shown
    ]
    ids = [Layer(IDS_ON_WISH[name], 0.13) for name in options.ids]
    return (*samples, *layers, *ids)


def sample_of(layer: str) -> str:
    """Return the layer for the sample of a line in the legend."""
    return f"legend {layer}"
