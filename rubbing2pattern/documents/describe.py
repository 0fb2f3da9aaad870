"""The page of all documents with the columns of every list."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

from rubbing2pattern.documents.archive import ARCHIVE_DOCUMENTS
from rubbing2pattern.documents.collection import COLLECTION_DOCUMENTS
from rubbing2pattern.documents.comparison import COMPARISON_DOCUMENTS
from rubbing2pattern.documents.document import Document
from rubbing2pattern.documents.matches import MATCH_DOCUMENTS
from rubbing2pattern.documents.registry import DOCUMENTS

FOLDERS: Final[tuple[tuple[str, tuple[Document[Any], ...]], ...]] = (
    ("A panel", DOCUMENTS),
    ("Loose pieces", MATCH_DOCUMENTS),
    ("A comparison", COMPARISON_DOCUMENTS),
    ("A collection", COLLECTION_DOCUMENTS),
    ("Added in an archive package", ARCHIVE_DOCUMENTS),
)
"""The tables of documents, by what they are about."""

_TABLE_HEAD = "| file | what it is for | when it is written |"
_HEAD = """\
# Documents

Every file that the program writes into a folder, what it is for and when it is written; then what
each list has in its columns.

The ending of a heading is its unit. Below are the headings of lists in millimetres: `_mm`, `_mm2`
and `_kg`. With `--units in` they end in `_in`, `_in2` and `_lb`; lengths are then inches with
fractions; measured widths, moves, uncertainties and the places of joints are inches with decimals.
A cell with several ids or lengths has a space or `; ` between them.

This page is made from the program (`make docs`); do not edit it by hand.
"""


def documents_page() -> str:
    """Return the page in Markdown: a table of each kind of folder, then a table of each list."""
    parts = [_HEAD]
    for title, documents in FOLDERS:
        parts.append(f"## {title}\n\n" + documents_table(documents))
    parts.append("## Columns of the lists\n")
    parts += [_list(doc) for _, documents in FOLDERS for doc in documents if doc.columns]
    return "\n".join(parts)


def documents_table(documents: Iterable[Document[Any]]) -> str:
    """Return a table of documents in Markdown."""
    return "\n".join(_rows(documents)) + "\n"


def _rows(documents: Iterable[Document[Any]]) -> Iterator[str]:
    yield _TABLE_HEAD
    yield "| --- | --- | --- |"
    for document in documents:
        more = f" ([more]({document.page}))" if document.page else ""
        yield f"| `{document.name}` | {document.purpose}{more} | {document.when.words} |"


def _list(document: Document[Any]) -> str:
    rows = [f"| `{column.heading('mm')}` | {column.holds} |" for column in document.columns]
    head = ["| column | what it holds |", "| --- | --- |"]
    more = f" More: [{document.page}]({document.page})." if document.page else ""
    title = f"### {document.name}\n\nA row for each {document.each}.{more}\n\n"
    return title + "\n".join([*head, *rows]) + "\n"
