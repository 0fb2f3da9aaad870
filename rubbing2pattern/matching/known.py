"""Numbers that a person gives to loose pieces: the file, and which pieces it means."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from shapely.geometry import Point as ShapelyPoint

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.inputs.reference import Row, table_rows
from rubbing2pattern.matching.loose import LoosePiece
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
    """

    place: str
    number: int
    piece: str = ""
    pixel: Point | None = None
    photo: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """A photograph as this module needs it: its name, its map to pixels, what lies in it."""

    name: str
    warp: Warp
    pieces: tuple[LoosePiece, ...]


def read_known(path: Path) -> tuple[KnownNumber, ...]:
    """Read ``piece,number`` or ``pixel_x,pixel_y,number``; both may have a column ``photo``.

    Raises
    ------
    UsageFault
        Naming file, line and column of what is wrong, or the two lines that give the same.
    InputUnreadable
        When the file cannot be read as text.
    """
    columns, rows = table_rows(path, (_BY_NAME, _BY_PLACE), optional=("photo",))
    known = tuple(_line(row, by_name=columns == _BY_NAME) for row in rows)
    if not known:
        raise UsageFault(f"{path} gives no number; leave --known out, or write piece and number")
    _refuse_twice({line.place: f"number {line.number}" for line in known})
    _refuse_twice({line.place: line.piece for line in known if line.piece})
    return known


def pieces_meant(
    known: Sequence[KnownNumber], photos: Sequence[Seen], numbers: Collection[int]
) -> dict[str, int]:
    """Return the number by the id of the loose piece.

    Parameters
    ----------
    known : as read.
    photos : what was found in the photographs.
    numbers : those of the panel.

    Raises
    ------
    UsageFault
        A line names a photograph, a loose piece or a number that there is not, or two lines mean
        the same piece.
    """
    found: dict[str, int] = {}
    places: dict[str, str] = {}
    for line in known:
        if line.number not in numbers:
            raise UsageFault(f"{line.place}: the panel has no piece {line.number}")
        name = _meant(line, _photos_of(line, photos))
        places[line.place] = name
        found[name] = line.number
    _refuse_twice(places)
    return found


def _line(row: Row, *, by_name: bool) -> KnownNumber:
    text = row.texts["number"].strip().lstrip("0")
    if not _NUMBER.fullmatch(text):
        raise row.fault("number", f"the number of a piece is a whole number from 1 to {LARGEST_ID}")
    photo = row.texts.get("photo", "").strip()
    if not by_name:
        pixel = (row.number("pixel_x"), row.number("pixel_y"))
        return KnownNumber(row.place, int(text), pixel=pixel, photo=photo)
    piece = row.texts["piece"].strip().upper()
    if not (piece.startswith("P") and _NUMBER.fullmatch(piece[1:])):
        raise row.fault("piece", "a loose piece is named as in matches.pdf: P1, P2 ...")
    return KnownNumber(row.place, int(text), piece, photo=photo)


def _refuse_twice(said: Mapping[str, str]) -> None:
    """Refuse what two places say alike."""
    first: dict[str, str] = {}
    for place, what in said.items():
        if what in first:
            raise UsageFault(f"{place}: {what} is in {first[what]} already; give it once")
        first[what] = place


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
