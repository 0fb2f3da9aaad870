"""What a document is, how a table of documents is written, and how a file is known by the table."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any, Generic, TypeVar, get_args

from rubbing2pattern.documents.formats.columns import Column
from rubbing2pattern.units import Unit

S = TypeVar("S")
_SEPARATORS = r"[,;\t]"
Content = str | bytes | Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class When(Generic[S]):
    """When a document is written: in words, and as a test of what it is made of."""

    words: str
    holds: Callable[[S], bool]


ALWAYS: When[Any] = When("always", lambda source: True)


@dataclass(frozen=True, slots=True)
class Document(Generic[S]):
    """A row of a table of documents, which are all made from one source `S`.

    Attributes
    ----------
    name : of its file; with a star in it where there may be several.
    purpose : what it is for, one clause.
    maker : makes its content; of several files the content of each by its name.
    when : when it is written.
    names : of several files, the names of those that are written.
    each : of a list, what has a row of its own.
    columns : of a list, in their order.
    page : page of ``docs/`` that says more.
    former : the name that it had in earlier versions.
    beside : whether it is made in a thread beside the others, because most of its time goes into
        libraries that let another thread run meanwhile. It must not use what the source works out
        on demand.
    """

    name: str
    purpose: str
    maker: Callable[[S], Content]
    when: When[S] = ALWAYS
    names: Callable[[S], Sequence[str]] | None = None
    each: str = ""
    columns: tuple[Column, ...] = ()
    page: str = ""
    former: str = ""
    beside: bool = False

    def written(self, source: S) -> Sequence[str]:
        """Return the names of its files that are written from a source."""
        if not self.when.holds(source):
            return ()
        return (self.name,) if self.names is None else self.names(source)


def files_of(documents: Iterable[Document[S]], source: S) -> dict[str, bytes]:
    """Return the content of each file by its name, in the order of the table."""
    written = [document for document in documents if document.written(source)]
    with ThreadPoolExecutor(1) as pool:
        beside = {d.name: pool.submit(d.maker, source) for d in written if d.beside}
        made = {d.name: d.maker(source) for d in written if not d.beside}
        made |= {name: task.result() for name, task in beside.items()}
    files: dict[str, bytes] = {}
    for document in written:
        content = made[document.name]
        if isinstance(content, Mapping):
            files |= content
        else:
            files[document.name] = content.encode() if isinstance(content, str) else content
    return files


def purposes(documents: Iterable[Document[S]], source: S) -> list[tuple[str, str]]:
    """Return name and purpose of each file that is written from a source."""
    return [(name, plain(doc.purpose)) for doc in documents for name in doc.written(source)]


def plain(text: str) -> str:
    """Return a clause of the table without the marks around names, for a page that has none."""
    return text.replace("`", "")


def own_names(documents: Iterable[Document[Any]]) -> tuple[str, ...]:
    """Return the names of all files of a table, former ones too, as patterns."""
    names = [name for document in documents for name in (document.name, document.former) if name]
    return tuple(dict.fromkeys(names))


def document_of(
    documents: Iterable[Document[Any]], name: str, content: bytes
) -> Document[Any] | None:
    """Return the document that a file is, or None for a file of another kind.

    A list is what its headings say: under the name that one list has now, another may lie in a
    folder of an earlier version.
    """
    called = [d for d in documents if fnmatchcase(name, d.name) or fnmatchcase(name, d.former)]
    return max(called, key=lambda document: len(known_columns(document, content)), default=None)


def known_columns(document: Document[Any], content: bytes) -> list[tuple[str, str]]:
    """Return the headings of a list that the table knows, and what each column holds.

    Nothing else of the list is read: a person may have saved it with another separator, or spoilt
    it. No heading of ours has a separator or a quotation mark in it.
    """
    if not document.columns:
        return []
    units: tuple[Unit, ...] = get_args(Unit)
    known = {column.heading(unit): column.holds for column in document.columns for unit in units}
    first = content.partition(b"\n")[0].decode("utf-8-sig", "replace")
    heads = (head.strip('" \r') for head in re.split(_SEPARATORS, first))
    return [(head, known[head]) for head in heads if head in known]
