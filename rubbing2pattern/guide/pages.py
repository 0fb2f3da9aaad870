"""The pages themselves: where they lie, and those that are made from tables."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from rubbing2pattern.errors import ProgramDamaged
from rubbing2pattern.guide.topics import GUIDE, HELP
from rubbing2pattern.trade.cautions import CAUTIONS, CUTTING, FIRING, GROZING, KEEPING

_INSTALLED = Path(__file__).with_name("docs")
"""Where a wheel has the pages."""
_SOURCE = Path(__file__).parents[2] / "docs"
"""Where they lie in the source, for an installation that runs from there."""
_MADE = "This page is made from the program (`make docs`); do not edit it by hand."


def page_text(name: str) -> str:
    """Return a page in Markdown.

    Parameters
    ----------
    name : of a topic.

    Raises
    ------
    ProgramDamaged
        The page is not where the program was installed.
    """
    for folder in (_INSTALLED, _SOURCE):
        page = folder / f"{name}.md"
        if page.is_file():
            return page.read_text(encoding="utf-8")
    raise ProgramDamaged(f"the page {name}.md is missing in {_INSTALLED}; install the program anew")


def index_page() -> str:
    """Return the index: every page, by what a person wants to do."""
    return "\n".join(_index_lines())


def _index_lines() -> Iterator[str]:
    yield from (
        "# The guide",
        "",
        "What do you want to do? Each page answers one question; the order is that of the work.",
        f"`{HELP}` lists the same pages, and `{HELP} TOPIC` shows one.",
    )
    for group in GUIDE:
        yield from ("", f"## {group.title}", "", "| to | read |", "| --- | --- |")
        for topic in group.topics:
            yield f"| {topic.use} | [{topic.name}]({topic.name}.md) |"
    yield from (
        "",
        "Schemas for programs: [panel.schema.json](panel.schema.json), "
        "[matches.schema.json](matches.schema.json), "
        "[comparison.schema.json](comparison.schema.json).",
        "",
        _MADE,
        "",
    )


def cautions_page() -> str:
    """Return the page of all cautions, by the work for which they are printed."""
    parts = (
        ("All work on old panels", CAUTIONS),
        ("Grozing", GROZING),
        ("Cutting glass", (CUTTING,)),
        ("Painting and firing", (FIRING,)),
        ("Keeping rubbings", (KEEPING,)),
    )
    lines = [
        "# Cautions",
        "",
        "The program prints these on the documents of each kind of work. They are reminders, not "
        "instructions for safety:",
        "local codes and licensed practice come first, and so do the safety sheets of the makers.",
    ]
    for title, cautions in parts:
        lines += ["", f"## {title}", "", *(f"- {caution}" for caution in cautions)]
    return "\n".join([*lines, "", _MADE, ""])
