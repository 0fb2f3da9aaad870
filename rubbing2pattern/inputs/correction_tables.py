"""The tables of a file of corrections: what each holds, and what its fields may be.

Places are in mm in the panel's frame (x to the right, y up, from the lower left corner), lengths in
mm; a text with a unit (``"1/4 in"``) is a length too.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.guide.topics import see
from rubbing2pattern.texts import ID_NUMBER, LARGEST_ID, MOST_DIGITS, checked, is_date
from rubbing2pattern.units import parse_length

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
            fields = type(self).model_fields
            names = [fields[name].alias or name for name in self.one_of]
            raise ValueError(f"give exactly one of {', '.join(names)}")
        return self


class AddLead(Table):
    """A lead that the rubbing hides, from one lead to another."""

    one_of = ("start", "finding")
    start: Place | None = Field(None, alias="from")
    finding: FindingName | None = None
    end: Place = Field(alias="to")
    through: Annotated[tuple[Place, ...], BeforeValidator(_pair)] = ()
    width_mm: Width | None = None
    free_end: bool = False


class RemoveLead(Table):
    """A line that is not a lead, between two joints."""

    one_of = ("at", "came", "finding")
    at: Place | None = None
    came: CameId | None = None
    finding: FindingName | None = None
    border: bool = False


class MoveLead(Table):
    """A lead that lies elsewhere."""

    one_of = ("at", "came", "finding")
    at: Place | None = None
    came: CameId | None = None
    finding: FindingName | None = None
    to: Place | None = None
    by: Place | None = None

    @model_validator(mode="after")
    def _to_or_by(self) -> MoveLead:
        if (self.to is None) == (self.by is None):
            raise ValueError("give exactly one of to, by")
        return self


class MoveJoint(Table):
    """A joint that lies elsewhere; the leads at it follow."""

    one_of = ("at", "joint", "finding")
    at: Place | None = None
    joint: JointId | None = None
    finding: FindingName | None = None
    to: Place


class SetWidth(Table):
    """A face width measured on the panel."""

    one_of = ("at", "came", "finding")
    at: Place | None = None
    came: CameId | None = None
    finding: FindingName | None = None
    width_mm: Width
    uncertainty_mm: Annotated[float, BeforeValidator(_length), Field(ge=0.0, le=5.0)] | None = None


class JoinPieces(Table):
    """Pieces that are one: the lines between them are not leads."""

    pieces: Annotated[tuple[Number, ...], BeforeValidator(_pair), Field(min_length=2)]


class SplitPiece(Table):
    """A piece that is two pieces, with a lead between them that the rubbing does not show."""

    one_of = ("start", "finding")
    piece: Number
    start: Place | None = Field(None, alias="from")
    finding: FindingName | None = None
    end: Place = Field(alias="to")
    through: Annotated[tuple[Place, ...], BeforeValidator(_pair)] = ()
    width_mm: Width | None = None


class Dismiss(Table):
    """A finding that was looked at and needs no change, by its name or by code and place."""

    name: FindingName | None = None
    finding: FindingName | None = None
    code: Annotated[Code | None, BeforeValidator(_code)] = None
    at: Place | None = None
    piece: Number | None = None
    why: Words

    @property
    def named(self) -> str | None:
        """The name of the finding, whichever field gives it."""
        return self.name or self.finding

    @model_validator(mode="after")
    def _name_or_code(self) -> Dismiss:
        others = [field for field in ("code", "at", "piece") if getattr(self, field) is not None]
        if self.name is not None and self.finding is not None:
            raise ValueError("name and finding say the same; give one of them")
        if self.named is not None and others:
            given = " and ".join(others)
            field = "name" if self.name else "finding"
            raise ValueError(
                f'{field} = "{self.named}" is given together with {given}, but a name alone says '
                f"which finding is meant; leave out {given}, or the name"
            )
        if self.named is None and self.code is None:
            raise ValueError('give a name, as in name = "F14", or a code')
        if self.at is not None and self.piece is not None:
            raise ValueError("give at or piece, not both")
        return self


class Renumber(Table):
    """A piece with a wrong number."""

    one_of = ("piece", "at", "finding")
    piece: Number | None = None
    at: Place | None = None
    finding: FindingName | None = None
    number: Number


class SeenFrom(Table):
    """The side of the window on which the paper lay."""

    side: Literal["inside", "outside"]


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
    seen_from: tuple[SeenFrom, ...] = ()
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
    "seen_from",
    "renumber",
    "dismiss",
)
"""All kinds of correction, in the order in which they are made."""
