"""The panel with each matched glass drawn in its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import shapely
from shapely.geometry import MultiPolygon, Polygon

from rubbing2pattern.documents.drawing import Drawing, Mark, Stroke, Text, text_width_mm
from rubbing2pattern.documents.drawing.lettering import piece_number
from rubbing2pattern.documents.drawing.sheets import (
    BINDS,
    DOUBT,
    FIGURE,
    FILLED,
    FRAGMENT,
    GAP,
    GLASS,
    LEAD,
    LEADER,
    MISSING,
    NUMBER,
    OPENING,
    SHORT,
    Sheet,
    View,
    centred,
    comb,
    crossed,
    hatched,
    on_page,
    outlines,
    run,
)
from rubbing2pattern.documents.matches.sentences import is_doubtful, panel_sentence
from rubbing2pattern.documents.wording import length_of
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.matching.loose import Match, Placed, Stretch, Verdict
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.matching.several_panels import PanelMatched
from rubbing2pattern.model import Piece
from rubbing2pattern.options.documents import DocumentOptions

_NUMBER_MM, _LEAST_MM = 4.0, 1.5
_SUB = 0.62
"""Height of the loose piece's own name under the number, over that of the number."""
_FIGURE_MM = 1.7
_ASIDE_MM = (2.5, 4.0, 6.0, 9.0)
"""How far a figure may be moved so that it can be read."""
_ABREAST = 2
"""Names of fragments in a line."""
KEY = (
    "Tinted, thin line: glass in its place. Bold red line: it reaches over the heart, groze "
    "by the figure there (G). Blue comb: light would show beside the leaf, as wide as the figure "
    "(S). Dashed: fragments. Hatched: a part is missing. Crossed out: no glass was found. "
    "T: turned over. Dash-dotted line and ?: look before use. Not to scale."
)


def panel_page(
    matching: Matching, options: DocumentOptions, own: PanelMatched | None = None
) -> Drawing:
    """Draw a panel, the first one if none is given, with the loose pieces in their places."""
    own = own or matching.panels[0]
    panel = own.panel
    x_min, y_min, x_max, y_max = shapely.total_bounds(
        [piece.outline for piece in panel.pieces]
        + [placed.outline for placed in (m.placed for m in _here(matching, own)) if placed]
    )
    bounds = (float(x_min), float(y_min), float(x_max), float(y_max))
    across = (x_max - x_min) > 1.15 * (y_max - y_min)
    named = f"Panel {own.letter}: {panel.name}" if own.letter else f"Panel {panel.name}"
    title = f"{named}: loose pieces in their places"
    sheet = Sheet.of(title, options, across=bool(across))
    side = f"The panel is {panel.side}." if panel.side else ""
    notes = sheet.lines([f"{panel_sentence(matching)} {side}", KEY])
    view = View.within(bounds, sheet.room(len(notes)))
    return sheet.drawing(tuple(_marks(matching, own, view, options)), notes)


def _here(matching: Matching, own: PanelMatched) -> list[Match]:
    """Return what lies in a panel."""
    return [m for m in matching.matches.matches if m.placed and own.holds(m.placed.number)]


def _marks(
    matching: Matching, own: PanelMatched, view: View, options: DocumentOptions
) -> Iterator[Mark]:
    matches, here = matching.matches, _here(matching, own)
    glass = {
        m.placed.number: m
        for m in here
        if m.placed is not None and m.verdict is not Verdict.FRAGMENT
    }
    sight = {piece.number: piece.sight_outline for piece in own.panel.pieces}
    yield from outlines(LEAD, view.shape(own.panel.outline), filled=True)
    for piece in own.panel.pieces:
        yield from outlines(OPENING, view.shape(piece.sight_outline), filled=True)
    for placed in (m.placed for m in here if m.placed is not None):
        seen = sight[placed.number].intersection(placed.outline)
        yield from outlines(FILLED, view.shape(seen), filled=True)
    for number in (n for n in matches.unfilled if n in sight):
        yield from crossed(MISSING, view.shape(sight[number]))
    for assembly in (a for a in matches.assemblies if a.number in sight):
        yield from hatched(MISSING, view.shape(assembly.missing))
        for part in assembly.parts:
            yield from outlines(FRAGMENT, view.shape(part.outline))
    lettering = replace(
        options,
        number_height_mm=min(20.0, max(2.0, _NUMBER_MM / view.share)),
        least_number_mm=min(2.0, max(0.5, _LEAST_MM / view.share)),
    )
    names = [
        name
        for piece in own.panel.pieces
        for name in _names(piece, glass.get(piece.number), matching, view, lettering)
    ]
    # Figures keep clear of the numbers, which are written over them, and of each other.
    taken = [_box(name) for name in names]
    for match in glass.values():
        if match.placed is not None:
            rim = DOUBT if is_doubtful(match, matching) else GLASS
            yield from outlines(rim, view.shape(match.placed.outline))
            yield from _faults(match.placed, view, options, taken)
    yield from names


def _faults(
    placed: Placed, view: View, options: DocumentOptions, taken: list[Polygon]
) -> Iterator[Mark]:
    inside = view.shape(placed.outline)
    for stretch in placed.short:
        yield from comb(SHORT, view.places(stretch.path), inside)
    for stretch in placed.groze:
        yield run(BINDS, view.places(stretch.path))
    for sign, stretches in (("S", placed.short), ("G", placed.groze)):
        shown: set[str] = set()
        for stretch in sorted(stretches, key=lambda one: -one.most_mm):
            text = f"{sign} {length_of(stretch.most_mm, options).rsplit(' ', 1)[0]}"
            # The same figure once more would only hide glass and numbers.
            if text not in shown:
                yield from _figure(text, stretch, inside, view, taken)
            shown.add(text)


def _figure(
    text: str,
    stretch: Stretch,
    inside: Polygon | MultiPolygon,
    view: View,
    taken: list[Polygon],
) -> Iterator[Mark]:
    """Write by how much glass and lead do not go together beside the worst place, on the glass.

    Where other lettering lies there it is moved along the edge or inwards, to where it hides least,
    and a line leads to the place; `taken` gets its box.
    """
    at, middle = view.at(stretch.at), inside.representative_point()
    dx, dy = middle.x - at[0], middle.y - at[1]
    far = max((dx * dx + dy * dy) ** 0.5, 1e-6)
    half = (0.5 * text_width_mm(text, _FIGURE_MM, bold=True) + 0.8, 0.5 * _FIGURE_MM + 0.8)
    # So far that the box of the lettering clears the line, whatever way it lies from it.
    reach = min(half[0] / max(abs(dx / far), 1e-6), half[1] / max(abs(dy / far), 1e-6)) + 0.5
    step = min(reach, 0.9 * far) / far
    layer = FIGURE if text.startswith("G") else GAP
    first = (at[0] + step * dx, at[1] + step * dy)
    headings = ((dx / far, dy / far), (-dy / far, dx / far), (dy / far, -dx / far))
    places = [
        first,
        *((first[0] + a * x, first[1] + a * y) for a in _ASIDE_MM for x, y in headings),
    ]
    ways = [centred(layer, place, text, _FIGURE_MM, patch=True) for place in places]
    hidden = [sum(_box(way).intersection(box).area for box in taken) for way in ways]
    best = min(range(len(ways)), key=lambda k: (round(hidden[k], 3), k))
    taken.append(_box(ways[best]))
    if best > 0:
        yield Stroke(LEADER, Line(ways[best].at, at))
    yield ways[best]


def _box(text: Text) -> Polygon:
    """Return the paper that centred lettering takes."""
    x_min, y_min, x_max, y_max = text.patch_mm
    (x, y) = text.at
    return shapely.box(x + x_min, y + y_min, x + x_max, y + y_max)


def _names(
    piece: Piece, match: Match | None, matching: Matching, view: View, lettering: DocumentOptions
) -> Iterator[Text]:
    """Write a piece's number, and under it the name of the loose piece that lies there."""
    named = replace(piece_number(piece, NUMBER, lettering), text=matching.label(piece.number))
    number = on_page(named, view, _LEAST_MM)
    yield number
    below: list[str] = []
    if match is not None and match.placed is not None:
        turned = " T" if matching.lies_over(match.placed) else ""
        look = " ?" if is_doubtful(match, matching) else ""
        below = [f"{match.piece.id}{turned}{look}"]
    for names in (a.pieces for a in matching.matches.assemblies if a.number == piece.number):
        below = ["+".join(names[k : k + _ABREAST]) for k in range(0, len(names), _ABREAST)]
    height = max(0.8 * _LEAST_MM, _SUB * number.height_mm)
    for k, line in enumerate(below):
        low = 0.5 * number.height_mm + (1.1 + 1.4 * k) * height
        yield centred(NUMBER, (number.at[0], number.at[1] - low), line, height)
