"""The file of corrections that a person writes: its tables and fields, read and checked.

Places are in mm in the panel's frame (x to the right, y up, from the lower left corner), lengths in
mm; a text with a unit (``"1/4 in"``) is a length too.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, ClassVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.guide.topics import see
from rubbing2pattern.inputs.files import content_of, decoded
from rubbing2pattern.inputs.toml_forms import toml_table, why_unreadable
from rubbing2pattern.texts import (
    ID_NUMBER,
    LARGEST_ID,
    MOST_DIGITS,
    checked,
    field_fault,
    is_date,
)
from rubbing2pattern.units import parse_length

LARGEST_FILE_BYTES = 1_000_000
"""Bytes of a file of corrections at most: a wrong file must not fill the memory."""
_SHOWN = 40
"""Most letters of a wrong value that a message shows."""
_FINDING_NAME = re.compile(f"F{ID_NUMBER}")


def _length(given: Any) -> Any:
    """Read a number of millimetres or a text with a unit; it may have a minus sign."""
    if isinstance(given, str):
        sign, text = (-1.0, given[1:]) if given.startswith("-") else (1.0, given)
        try:
            return sign * parse_length(text)
        except UsageFault as fault:
            raise ValueError(str(fault)) from fault
    if isinstance(given, int) and not isinstance(given, bool):
        try:
            return float(given)
        except OverflowError:
            raise ValueError("the number is too large for a length") from None
    return given


def _pair(given: Any) -> Any:
    return tuple(given) if isinstance(given, list) else given


def _day(given: Any) -> Any:
    """Take a TOML date, or a text that is one."""
    text = given if isinstance(given, str) else ""
    if hasattr(given, "isoformat"):
        text = given.isoformat()
    if not is_date(text) or len(text) != len("2026-11-25"):
        said = f"{text[:_SHOWN]!r} " if text else ""
        raise ValueError(f"{said}is not a date; write it like 2026-11-25")
    return text


def _one_line(text: str) -> str:
    return checked(text, lines=False)


def _code(given: Any) -> Any:
    if isinstance(given, str) and given not in {code.value for code in Code}:
        raise ValueError(f"there is no finding {given[:_SHOWN]!r}; {see('figures')} lists them")
    return Code(given) if isinstance(given, str) else given


def _finding_name(given: Any) -> Any:
    if not isinstance(given, str) or not _FINDING_NAME.fullmatch(given):
        raise ValueError(
            f"is not the name of a finding: the letter F and a number of {MOST_DIGITS} digits at "
            "most"
        )
    return given


Length = Annotated[float, BeforeValidator(_length)]
Place = Annotated[tuple[Length, Length], BeforeValidator(_pair)]
Width = Annotated[float, BeforeValidator(_length), Field(ge=1.0, le=60.0)]
Number = Annotated[int, Field(ge=1, le=LARGEST_ID)]
Text = Annotated[str, AfterValidator(checked)]
Words = Annotated[Text, Field(min_length=1, max_length=500, pattern=r"\S")]
Line = Annotated[Words, AfterValidator(_one_line)]
CameId = Annotated[str, Field(pattern=f"^C{ID_NUMBER}$")]
JointId = Annotated[str, Field(pattern=f"^J{ID_NUMBER}$")]
FindingName = Annotated[str, BeforeValidator(_finding_name)]


class _Strict(BaseModel):
    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        validate_by_name=True,
        validate_by_alias=True,
    )


class Table(_Strict):
    """Base of all kinds of correction."""

    one_of: ClassVar[tuple[str, ...]] = ()
    """Fields of which exactly one is given."""

    @model_validator(mode="after")
    def _exactly_one(self) -> Table:
        given = [name for name in self.one_of if getattr(self, name) is not None]
        if self.one_of and len(given) != 1:
            raise ValueError(f"give exactly one of {', '.join(self.one_of)}")
        return self


class AddLead(Table):
    """A lead that the rubbing hides, from one lead to another."""

    start: Place = Field(alias="from")
    end: Place = Field(alias="to")
    through: Annotated[tuple[Place, ...], BeforeValidator(_pair)] = ()
    width_mm: Width | None = None
    free_end: bool = False


class RemoveLead(Table):
    """A line that is not a lead, between two joints."""

    one_of = ("at", "came")
    at: Place | None = None
    came: CameId | None = None
    border: bool = False


class MoveLead(Table):
    """A lead that lies elsewhere."""

    one_of = ("at", "came")
    at: Place | None = None
    came: CameId | None = None
    to: Place | None = None
    by: Place | None = None

    @model_validator(mode="after")
    def _to_or_by(self) -> MoveLead:
        if (self.to is None) == (self.by is None):
            raise ValueError("give exactly one of to, by")
        return self


class MoveJoint(Table):
    """A joint that lies elsewhere; the leads at it follow."""

    one_of = ("at", "joint")
    at: Place | None = None
    joint: JointId | None = None
    to: Place


class SetWidth(Table):
    """A face width measured on the panel."""

    one_of = ("at", "came")
    at: Place | None = None
    came: CameId | None = None
    width_mm: Width
    uncertainty_mm: Annotated[float, BeforeValidator(_length), Field(ge=0.0, le=5.0)] | None = None


class JoinPieces(Table):
    """Pieces that are one: the lines between them are not leads."""

    pieces: Annotated[tuple[Number, ...], BeforeValidator(_pair), Field(min_length=2)]


class SplitPiece(Table):
    """A piece that is two pieces, with a lead between them that the rubbing does not show."""

    piece: Number
    start: Place = Field(alias="from")
    end: Place = Field(alias="to")
    through: Annotated[tuple[Place, ...], BeforeValidator(_pair)] = ()
    width_mm: Width | None = None


class Dismiss(Table):
    """A finding that was looked at and needs no change, by its name or by code and place."""

    name: FindingName | None = None
    code: Annotated[Code | None, BeforeValidator(_code)] = None
    at: Place | None = None
    piece: Number | None = None
    why: Words

    @model_validator(mode="after")
    def _name_or_code(self) -> Dismiss:
        others = [field for field in ("code", "at", "piece") if getattr(self, field) is not None]
        if self.name is not None and others:
            given = " and ".join(others)
            raise ValueError(
                f'name = "{self.name}" is given together with {given}, but a name alone says '
                f"which finding is meant; leave out {given}, or the name"
            )
        if self.name is None and self.code is None:
            raise ValueError('give a name, as in name = "F14", or a code')
        if self.at is not None and self.piece is not None:
            raise ValueError("give at or piece, not both")
        return self


class Renumber(Table):
    """A piece with a wrong number."""

    one_of = ("piece", "at")
    piece: Number | None = None
    at: Place | None = None
    number: Number


class Corrections(_Strict):
    """A file of corrections: who, when, and any number of tables."""

    by: Line
    date: Annotated[str, BeforeValidator(_day)]
    remark: Text = ""
    remove_lead: tuple[RemoveLead, ...] = ()
    join_pieces: tuple[JoinPieces, ...] = ()
    move_joint: tuple[MoveJoint, ...] = ()
    move_lead: tuple[MoveLead, ...] = ()
    add_lead: tuple[AddLead, ...] = ()
    split_piece: tuple[SplitPiece, ...] = ()
    set_width: tuple[SetWidth, ...] = ()
    renumber: tuple[Renumber, ...] = ()
    dismiss: tuple[Dismiss, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _tables_are_arrays(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        for name in TABLES:
            if isinstance(given.get(name), dict):
                raise ValueError(f"write [[{name}]] with two brackets on each side")
        return {k: tuple(v) if isinstance(v, list) else v for k, v in given.items()}

    def tables(self) -> Iterator[tuple[str, int, Table]]:
        """Yield every correction with its kind and its index from 1, in the order of working."""
        for name in TABLES:
            for index, table in enumerate(getattr(self, name), start=1):
                yield name, index, table


TABLES = (
    "remove_lead",
    "join_pieces",
    "move_joint",
    "move_lead",
    "add_lead",
    "split_piece",
    "set_width",
    "renumber",
    "dismiss",
)
"""All kinds of correction, in the order in which they are made."""


_PLACES = frozenset({"at", "from", "to", "by"})
"""Fields that hold a place ``[x, y]``; `by` does so in `move_lead`."""
_ID_FORMS = {"came": "C12", "joint": "J5", "name": "F14"}


@dataclass(frozen=True, slots=True)
class CorrectionsFile:
    """A file of corrections as it was read.

    Attributes
    ----------
    corrections : what it says.
    content, sha256 : its bytes and their digest.
    name : for messages.
    """

    corrections: Corrections
    content: bytes
    sha256: str
    name: str


def read_corrections(path: Path | str) -> CorrectionsFile:
    """Read a file of corrections.

    Raises
    ------
    UsageFault
        The file cannot be read, is not TOML, or has a field that is missing, unknown or out of
        range. The message names line, table and field.
    """
    what = "a file of corrections"
    content = content_of(Path(path), LARGEST_FILE_BYTES, what, fault=UsageFault)
    return corrections_from(content, str(path))


def corrections_from(content: bytes, name: str = "the corrections") -> CorrectionsFile:
    """Read corrections from the bytes of a file; raises `UsageFault` as `read_corrections` does."""
    text = decoded(content, name, fault=UsageFault)
    try:
        datum = toml_table(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        raise UsageFault(f"{name}, {why_unreadable(fault, text, _PLACES)}") from fault
    try:
        corrections = Corrections.model_validate(datum)
    except ValidationError as fault:
        raise UsageFault(f"{name}, {_first(fault, text)}") from fault
    if not any(True for _ in corrections.tables()):
        raise UsageFault(
            f"{name} holds no correction; write tables like [[add_lead]], {see('corrections')}"
        )
    _refuse_same(corrections, name, text)
    return CorrectionsFile(corrections, content, hashlib.sha256(content).hexdigest(), name)


def _refuse_same(corrections: Corrections, name: str, text: str) -> None:
    """Refuse tables that dismiss the same finding by code and place; the first two are named."""
    first: dict[tuple[Any, ...], int] = {}
    for k, table in enumerate(corrections.dismiss):
        what = (table.code, table.at, table.piece)
        if table.name is None and first.setdefault(what, k) != k:
            line, where = _where(["dismiss", str(k)], text)
            raise UsageFault(
                f"{name}, line {line}, {where}: it dismisses the same as dismiss "
                f"{first[what] + 1}; delete this table"
            )


def _first(fault: ValidationError, text: str) -> str:
    """Say where the first fault lies and what it is, and how many more there are."""
    faults = fault.errors(include_url=False)
    first = faults[0]
    what = field_fault(first["type"], first["msg"])
    what += _cure(first["type"], [str(step) for step in first["loc"]], first["input"])
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    steps = [str(step) for step in first["loc"]]
    line, where = _where(steps, text)
    return f"line {line}, {where}: {what}{more}" if where else f"{what}{more}"


def _cure(kind: str, steps: Sequence[str], given: Any) -> str:
    """Return the right form of what was given wrongly, or nothing."""
    if kind == "extra_forbidden":
        known = Corrections.model_fields
        if len(steps) > 1:
            fields = get_args(known[steps[0]].annotation)[0].model_fields
            known = {field.alias or name: field for name, field in fields.items()}
        near = get_close_matches(steps[-1], known, n=1, cutoff=0.4)
        ends = [name for name in known if name.endswith(f"_{steps[-1]}")]
        nearest = (ends or near or [""])[0]
        return f"; the nearest name is {nearest}" if nearest else ""
    letter = _ID_FORMS.get(steps[-1], "")[:1] if steps else ""
    if not letter:
        return ""
    # Python writes no integer of thousands of digits as text.
    text = str(given) if isinstance(given, str) or 0 < _whole(given) <= LARGEST_ID else ""
    form = rf"\s*{letter}?\s*({ID_NUMBER})\s*"
    number = re.fullmatch(form, text, re.IGNORECASE)
    form = f"{letter}{number[1]}" if number else _ID_FORMS[steps[-1]]
    return f'; write {steps[-1]} = "{form}"'


def _whole(given: Any) -> int:
    """Return a whole number as it is, and 0 for anything else."""
    return given if isinstance(given, int) else 0


def _where(steps: Sequence[str], text: str) -> tuple[int, str]:
    """Return the line and the words for the place of a fault."""
    if not steps:
        return 1, ""
    lines = text.splitlines()
    head, rest, first = steps[0], list(steps[1:]), 0
    if head in TABLES and rest:
        index = int(rest.pop(0)) + 1
        opens = re.compile(rf"\s*\[\[\s*{head}\s*\]\]")
        places = [k for k, line in enumerate(lines) if opens.match(line)]
        first = places[index - 1] if index <= len(places) else 0
        head = f"{head} {index}"
    key = rest[0] if rest else steps[0]
    names = re.compile(rf"\s*(?:\[+\s*)?[\"']?{re.escape(key)}\b")
    for k in range(first, len(lines)):
        if names.match(lines[k]):
            return k + 1, ", ".join([head, *_named(rest)])
        if k > first and rest and lines[k].lstrip().startswith("["):
            break
    return first + 1, ", ".join([head, *_named(rest)])


def _named(steps: Sequence[str]) -> list[str]:
    """Join a field with the number of its part: ``through 2``."""
    parts = [f"{int(step) + 1}" if step.isdigit() else step for step in steps]
    return [" ".join(parts)] if parts else []
