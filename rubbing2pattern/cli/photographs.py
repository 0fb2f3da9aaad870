"""Photographs of loose glass on the command line, each with the reference of its scale."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rubbing2pattern.cli.shared import reference_options
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.inputs.reference import REFERENCES
from rubbing2pattern.texts import replaced

if TYPE_CHECKING:
    from rubbing2pattern.inputs.reference import Reference

F = TypeVar("F", bound=Callable[..., Any])
_ORDER = "rubbing2pattern.order"
"""Under which key a context keeps photographs and references in the order of the line."""


class PhotographsCommand(click.Command):
    """A command that knows which reference stands behind which photograph.

    Click keeps the values of every option by itself and the order of all options beside them; both
    together give the line again.
    """

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse a line, and keep the order of its photographs and references."""
        parsed = list(args)
        rest = super().parse_args(ctx, args)
        if not ctx.resilient_parsing:
            given, _, order = self.make_parser(ctx).parse_args(parsed)
            ctx.meta[_ORDER] = _in_order(given, order)
        return rest


def photograph_options(command: F) -> F:
    """Add photographs, by place or with `--photo`, and the references of their scale."""
    photos = click.argument("photos", nargs=-1, type=click.Path(path_type=Path))
    photo = click.option(
        "--photo",
        "of_photo",
        multiple=True,
        expose_value=False,
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="A photograph with a reference of its own: the reference that follows it.",
    )
    return photos(photo(reference_options(command, multiple=True)))


def photographed(
    ctx: click.Context, photos: tuple[Path, ...], given: dict[str, Any]
) -> tuple[list[Path], list[Reference]]:
    """Take photographs and their references out of the parameters of a command.

    Rules:

    1. photographs given by place share one reference;
    2. a reference behind a `--photo` is that photograph's alone; one before the first `--photo`
       serves all that have none of their own.

    Raises
    ------
    UsageFault, InputUnreadable
        A photograph has no reference or several, or its reference cannot be read; of several
        photographs the message names the one.
    """
    for name in REFERENCES:
        given.pop(name)
    before: dict[str, list[str]] = {}
    own: list[tuple[Path, dict[str, list[str]]]] = []
    for name, value in ctx.meta[_ORDER]:
        if name == "of_photo":
            own.append((Path(value), {}))
        else:
            texts = own[-1][1] if own else before
            texts.setdefault(name, []).append(value)
    if photos and own:
        raise click.UsageError("give photographs either by place or with --photo, not both", ctx)
    if not photos and not own:
        raise click.UsageError("Missing argument 'PHOTOS...'; or give --photo FILE.", ctx)
    if photos:  # rule 1
        return list(photos), [_reference(before)] * len(photos)
    return [photo for photo, _ in own], [_named(photo, texts or before) for photo, texts in own]


def _in_order(given: dict[str, Any], order: list[click.Parameter]) -> list[tuple[str, str]]:
    """Return names and values of photographs and references as they stand on the line."""
    left = {name: iter(given[name]) for name in ("of_photo", *REFERENCES) if name in given}
    return [(p.name, next(left[p.name])) for p in order if p.name in left]


def _named(photo: Path, texts: dict[str, list[str]]) -> Reference:
    try:
        return _reference(texts)
    except RubbingError as fault:
        raise type(fault)(f"{replaced(photo.name)}: {fault}") from fault


def _reference(texts: dict[str, list[str]]) -> Reference:
    """Read the one reference among texts by its option; two of a kind are two."""
    from rubbing2pattern.inputs.reference import parse_reference, refuse_several

    refuse_several([name for name, own in texts.items() for _ in own])
    return parse_reference(**{name: own[0] for name, own in texts.items()})
