"""Numbers that a person gives to loose pieces: the file, and which pieces it means."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from shapely.geometry import Point as ShapelyPoint

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.inputs.reference import Row, table_rows
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.several_panels import PanelMatched
from rubbing2pattern.texts import ID_NUMBER, LARGEST_ID

_NUMBER = re.compile(ID_NUMBER)
_BY_NAME = ("piece", "number")
_BY_PLACE = ("pixel_x", "pixel_y", "number")


@dataclass(frozen=True, slots=True)
class KnownNumber:
    """One line of the file.

    Attributes
    ----------
    place : file and line, for messages.
    number : of the piece in the panel.
    piece : id of the loose piece, or "" where `pixel` gives it.
    pixel : (column, row) in the photograph, or None.
    photo : file name of the photograph, or "" where there is only one.
    panel : name of the panel, or "" where there is only one.
    """

    place: str
    number: int
    piece: str = ""
    pixel: Point | None = None
    photo: str = ""
    panel: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """A photograph as this module needs it: its name, its map to pixels, what lies in it."""

    name: str
    warp: Warp
    pieces: tuple[LoosePiece, ...]


def read_known(path: Path) -> tuple[KnownNumber, ...]:
    """Read ``piece,number`` or ``pixel_x,pixel_y,number``.

    Both may have the columns ``photo`` and ``panel``.

    Raises
    ------
    UsageFault
        Naming file, line and column of what is wrong, or the two lines that give the same.
    InputUnreadable
        When the file cannot be read as text.
    """
    columns, rows = table_rows(path, (_BY_NAME, _BY_PLACE), optional=("photo", "panel"))
    known = tuple(_line(row, by_name=columns == _BY_NAME) for row in rows)
    if not known:
        raise UsageFault(f"{path} gives no number; leave --known out, or write piece and number")
    _refuse_twice({line.place: _said(line) for line in known})
    _refuse_twice({line.place: line.piece for line in known if line.piece})
    return known


def pieces_meant(
    known: Sequence[KnownNumber], photos: Sequence[Seen], panels: Sequence[PanelMatched]
) -> dict[str, int]:
    """Return the number, raised as its panel's are, by the id of the loose piece.

    Parameters
    ----------
    known : as read.
    photos : what was found in the photographs.
    panels : whose numbers they are.

    Raises
    ------
    UsageFault
        A line names a photograph, a panel, a loose piece or a number that there is not, or two
        lines mean the same piece.
    """
    found: dict[str, int] = {}
    places: dict[str, str] = {}
    for line in known:
        own = _panel_of(line, panels)
        number = line.number + own.raised_by
        if not own.holds(number):
            named = f"panel {own.panel.name}" if own.letter else "the panel"
            raise UsageFault(f"{line.place}: {named} has no piece {line.number}")
        name = _meant(line, _photos_of(line, photos))
        places[line.place] = name
        found[name] = number
    _refuse_twice(places)
    return found


def _line(row: Row, *, by_name: bool) -> KnownNumber:
    text = row.texts["number"].strip().lstrip("0")
    if not _NUMBER.fullmatch(text):
        raise row.fault("number", f"the number of a piece is a whole number from 1 to {LARGEST_ID}")
    photo, panel = (row.texts.get(name, "").strip() for name in ("photo", "panel"))
    if not by_name:
        pixel = (row.number("pixel_x"), row.number("pixel_y"))
        return KnownNumber(row.place, int(text), pixel=pixel, photo=photo, panel=panel)
    piece = row.texts["piece"].strip().upper()
    if not (piece.startswith("P") and _NUMBER.fullmatch(piece[1:])):
        raise row.fault("piece", "a loose piece is named as in matches.pdf: P1, P2 ...")
    return KnownNumber(row.place, int(text), piece, photo=photo, panel=panel)


def _refuse_twice(said: Mapping[str, str]) -> None:
    """Refuse what two places say alike."""
    first: dict[str, str] = {}
    for place, what in said.items():
        if what in first:
            raise UsageFault(f"{place}: {what} is in {first[what]} already; give it once")
        first[what] = place


def _said(line: KnownNumber) -> str:
    return f"number {line.number}{' of panel ' if line.panel else ''}{line.panel}"


def _panel_of(line: KnownNumber, panels: Sequence[PanelMatched]) -> PanelMatched:
    names = [own.panel.name for own in panels]
    if not line.panel and len(panels) > 1:
        raise UsageFault(f"{line.place}: name the panel in a column panel: {', '.join(names)}")
    if line.panel and line.panel not in names:
        raise UsageFault(
            f"{line.place}: there is no panel {line.panel!r}; given are {', '.join(names)}"
        )
    return panels[names.index(line.panel)] if line.panel else panels[0]


def _photos_of(line: KnownNumber, photos: Sequence[Seen]) -> list[Seen]:
    names = [photo.name for photo in photos]
    if line.photo and line.photo not in names:
        raise UsageFault(
            f"{line.place}: there is no photograph {line.photo!r}; given are {', '.join(names)}"
        )
    if line.pixel is not None and not line.photo and len(photos) > 1:
        raise UsageFault(f"{line.place}: name the photograph in a column photo")
    return [photo for photo in photos if not line.photo or photo.name == line.photo]


def _meant(line: KnownNumber, photos: Sequence[Seen]) -> str:
    pieces = [(photo, piece) for photo in photos for piece in photo.pieces]
    where = f" in {line.photo}" if line.photo else ""
    if line.pixel is None:
        if line.piece in {piece.id for _, piece in pieces}:
            return line.piece
        last = pieces[-1][1].id if pieces else "none"
        first = pieces[0][1].id if pieces else "none"
        raise UsageFault(
            f"{line.place}: there is no loose piece {line.piece}{where}; found were {first} to "
            f"{last}"
        )
    for photo, piece in pieces:
        if piece.outline.covers(ShapelyPoint(photo.warp.to_mm([line.pixel])[0])):
            return piece.id
    x, y = line.pixel
    raise UsageFault(f"{line.place}: no loose piece lies at the pixel {x:g},{y:g}{where}")
