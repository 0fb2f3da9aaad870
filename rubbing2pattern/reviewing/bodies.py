"""What the page sends, and what it is sent: the schema of the interface."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Number = float
Words = Annotated[str, Field(max_length=2_500)]


class Sent(BaseModel):
    """Base of what the page sends."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Write(Sent):
    """A request that changes something.

    Attributes
    ----------
    digest : SHA-256 of the record that the page shows.
    step : how many changes the page knows of; another tab may have made more.
    """

    digest: Digest
    step: Annotated[int, Field(ge=0)]


class Edits(Write):
    """Edits that are one step: each has its kind and the fields of that kind of correction."""

    edits: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=500, strict=False)]


class Cells(Write):
    """Cells of pieces by column; an empty text empties a cell."""

    cells: Annotated[dict[Annotated[str, Field(max_length=40)], Words], Field(max_length=10)]


class Save(Write):
    """Who corrected, and when, as for a file of corrections."""

    by: Annotated[str, Field(max_length=500)]
    date: Annotated[str, Field(max_length=20)]
    remark: Annotated[str, Field(max_length=500)] = ""


class Take(Write):
    """Whether the edits left from an interrupted review are taken up or dropped."""

    take: bool


class Shown(BaseModel):
    """Base of what the page is sent."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PieceShown(Shown):
    """A piece: rings of its outline as x, y, x, y …, in mm in the panel's frame, y upwards."""

    number: int
    rings: list[list[float]]
    at: tuple[float, float]
    radius: float
    area: float
    sight: float
    box: tuple[float, float]
    cames: list[str]


class CameShown(Shown):
    """A lead between two joints, its line as x, y, x, y … in mm."""

    id: str
    start: str
    end: str
    line: list[float]
    width: float
    length: float
    stock: str
    border: bool
    surety: float
    gaps: list[tuple[float, float]]
    pieces: list[int]
    corrected: str


class JointShown(Shown):
    """Where leads meet."""

    id: str
    at: tuple[float, float]
    kind: str
    cames: list[str]


class Net(Shown):
    """All of the net, or, in a change, what is new or differs; `gone` names what is no more."""

    pieces: list[PieceShown]
    cames: list[CameShown]
    joints: list[JointShown]


class Gone(Shown):
    """Numbers and ids of what a change took away."""

    pieces: list[int]
    cames: list[str]
    joints: list[str]


class CureShown(Shown):
    """A way to settle a doubt, as edits that can be sent back as they are."""

    words: str
    edits: list[dict[str, Any]]


class DoubtShown(Shown):
    """One doubt: its findings by name, what is doubtful, where, and what settles it."""

    names: list[str]
    severity: str
    code: str
    words: str
    more: list[str]
    places: list[tuple[float, float]]
    pieces: list[int]
    cames: list[str]
    joints: list[str]
    cures: list[CureShown]


class Findings(Shown):
    """The doubts that are left, most harmful first, and how far the work is."""

    doubts: list[DoubtShown]
    settled: int
    all: int


class Tiles(Shown):
    """The picture in tiles: level 0 is the finest, each further one half as fine.

    Attributes
    ----------
    px_per_mm, left, top : of level 0; `left` and `top` are the outer edges of its first cell.
    sizes : width and height of each level in pixels.
    source : ``"picture"``, ``"rubbing.png"`` or ``"none"``.
    """

    tile: int
    px_per_mm: float
    left: float
    top: float
    sizes: list[tuple[int, int]]
    source: str


class Step(Shown):
    """One change that is not saved yet, in words."""

    words: list[str]


class Draft(Shown):
    """What an interrupted review left: how many changes, and whether on the same record."""

    steps: int
    same: bool


class Session(Shown):
    """Where the review stands."""

    panel: str
    side: str
    units: str
    width: float
    height: float
    pieces: int
    digest: str
    step: int
    can_undo: bool
    can_redo: bool
    steps: list[Step]
    by: str
    saved: int
    draft: Draft | None
    tiles: Tiles


class Area(Shown):
    """A piece whose glass has another area; without `before` it is new, without `now` gone."""

    number: int
    before: float | None
    now: float | None


class Change(Shown):
    """What a change does: in words, and as what is drawn anew."""

    said: list[str]
    areas: list[Area]
    findings_new: list[str]
    findings_gone: list[str]
    net: Net
    gone: Gone


class Changed(Shown):
    """What a change did, and where the review stands after it."""

    change: Change
    session: Session
    findings: Findings
    entries: dict[str, dict[str, str]]


class Choices(Shown):
    """The words of the columns that have a list."""

    state: list[str]
    action: list[str]
    decoration: list[str]


class Sheet(Shown):
    """What is written about the pieces, by number; only cells that say something."""

    columns: list[str]
    choices: Choices
    thickness_unit: str
    entries: dict[str, dict[str, str]]


class Saved(Shown):
    """What was written."""

    files: list[str]
    session: Session


class Ridge(Shown):
    """The middle of the lead that the rubbing shows near a place; None where it shows none."""

    at: tuple[float, float] | None


class Refused(Shown):
    """Why a change was not made; nothing was changed."""

    refused: str


INTERFACE: dict[str, tuple[type[BaseModel] | None, type[BaseModel] | None]] = {
    "GET /session": (None, Session),
    "GET /net": (None, Net),
    "GET /findings": (None, Findings),
    "GET /pieces": (None, Sheet),
    "GET /tiles/{level}/{x}_{y}": (None, None),
    "GET /ridge?x={x}&y={y}&reach={mm}": (None, Ridge),
    "POST /preview": (Edits, Change),
    "POST /edits": (Edits, Changed),
    "POST /undo": (Write, Changed),
    "POST /redo": (Write, Changed),
    "PUT /pieces/{n}": (Cells, Changed),
    "POST /draft": (Take, Changed),
    "POST /save": (Save, Saved),
    "POST /quit": (Write, None),
}
"""Every request, with what it sends and what it is answered."""


def schema() -> dict[str, Any]:
    """Return the interface as JSON schemas, by request."""
    return {
        request: {
            "sends": None if sent is None else sent.model_json_schema(),
            "answer": None if answer is None else answer.model_json_schema(),
        }
        for request, (sent, answer) in INTERFACE.items()
    }
