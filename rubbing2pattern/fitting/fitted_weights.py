"""Weights that were fitted on rubbings of which the truth is known, read from one file.

`fitted-weights.json` comes with the program. It holds what no person sets: the weights of the
figures from which follows whether a boundary is lead (`parting`) and how far a lead may be off
(`laying`). The programs that fit them write the file anew with `refitted`. Its checksum is that of
its own content: it shows damage, and goes into the record, where it says with which weights a
rubbing was read.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rubbing2pattern.errors import ProgramDamaged

FILE_NAME = "fitted-weights.json"
BOUNDARY_FIGURES = ("constant", "lead line", "leaf", "ink", "log length")
"""What `parting.evidence` weighs, in this order; the first is added as it is."""
STRAY_FIGURES = (
    "constant",
    "log distance from the ridge",
    "log deviation",
    "misfit of the joints",
    "log length under leaves",
    "room",
    "free curve",
    "log odds of the lowest ridge",
    "share unseen",
    "log mm",
)
"""What `laying.doubt` weighs, in this order; the last is taken away."""

_FIGURES = {"boundary": BOUNDARY_FIGURES, "stray": STRAY_FIGURES}
_Finite = Annotated[float, Field(allow_inf_nan=False)]


@dataclass(frozen=True, slots=True)
class FittedWeights:
    """What the file says.

    Attributes
    ----------
    version : raised by one whenever weights are fitted anew.
    sha256 : checksum of the file's content.
    boundary : weights of `BOUNDARY_FIGURES` in the log odds that a boundary is lead.
    stray : weights of `STRAY_FIGURES` in the log odds that a came is off by more than a distance.
    """

    version: int
    sha256: str
    boundary: tuple[float, ...]
    stray: tuple[float, ...]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    weights: dict[str, _Finite]
    fitted_by: str
    fitted_on: str


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["rubbing2pattern fitted weights"]
    version: Annotated[int, Field(ge=1)]
    boundary: _Part
    stray: _Part
    sha256: str

    @model_validator(mode="after")
    def _as_written(self) -> _File:
        for name, figures in _FIGURES.items():
            if tuple(getattr(self, name).weights) != figures:
                raise ValueError(f"the figures of {name} are not those that the program weighs")
        if self.sha256 != _checksum(self.model_dump(mode="json")):
            raise ValueError("the checksum differs from the content")
        return self


@cache
def fitted_weights() -> FittedWeights:
    """Return the weights that come with the program.

    Raises
    ------
    ProgramDamaged
        The file is missing, damaged or of another version of the program.
    """
    held = _read()
    boundary, stray = (tuple(part.weights.values()) for part in (held.boundary, held.stray))
    return FittedWeights(held.version, held.sha256, boundary, stray)


def refitted(
    part: Literal["boundary", "stray"], weights: Sequence[float], fitted_by: str, fitted_on: str
) -> str:
    """Return the text of the file with new weights, its version raised by one.

    Parameters
    ----------
    part : whose weights they are.
    weights : in the order of `BOUNDARY_FIGURES` or `STRAY_FIGURES`.
    fitted_by, fitted_on : the program, and the rubbings in words.

    Raises
    ------
    ValueError
        There are more or fewer weights than figures, or one is not finite.
    """
    held = _read()
    changed = {
        "weights": dict(zip(_FIGURES[part], weights, strict=True)),
        "fitted_by": fitted_by,
        "fitted_on": fitted_on,
    }
    content = {**held.model_dump(mode="json"), "version": held.version + 1, part: changed}
    content["sha256"] = _checksum(content)
    checked = _File.model_validate(content).model_dump(mode="json")
    return json.dumps(checked, indent=2, ensure_ascii=False) + "\n"


def _read() -> _File:
    try:
        text = resources.files("rubbing2pattern.fitting").joinpath(FILE_NAME).read_bytes()
    except OSError as fault:
        raise ProgramDamaged(
            f"the file {FILE_NAME} of this installation cannot be read ({fault.strerror}); "
            "install the program again"
        ) from fault
    try:
        return _File.model_validate_json(text)
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(step) for step in first["loc"]) or "content"
        raise ProgramDamaged(
            f"the file {FILE_NAME} of this installation is damaged ({where}: {first['msg']}); "
            "install the program again"
        ) from fault


def _checksum(content: dict[str, Any]) -> str:
    """Return the SHA-256 of a content in one fixed way of writing, without the checksum itself."""
    rest = {name: part for name, part in content.items() if name != "sha256"}
    written = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(written.encode()).hexdigest()
