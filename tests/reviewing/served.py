"""A folder of results with doubts, and its review page served to the tests."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from rubbing2pattern.documents import document_files
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reviewing.desk import Desk
from rubbing2pattern.reviewing.server import Opened, opened
from tests import nets
from tests.correcting.making import panel_from
from tests.documents.photographed import photograph
from tests.running import PATIENCE_S

OPTIONS = DocumentOptions(overlay_px_per_mm=2.0)
WRITES = {"x-review": "1", "content-type": "application/json"}


def _two_by_two() -> nets.Draft:
    """Return two by two pieces without the upper border, with joints for a lead at 146 mm."""
    draft = nets.Draft()
    for x in (0, 100):
        draft.line((x, 0), (x, 146), (x, 150), (x, 300))
    draft.line((200, 0), (200, 150), (200, 300))
    for y in (0, 150):
        draft.line((0, y), (100, y), (200, y))
    return draft


def doubtful() -> nets.Draft:
    """Return a net of five pieces: one a sliver by a lead too many, one with a lead that ends."""
    draft = _two_by_two()
    draft.line((0, 300), (100, 300), (150, 300), (200, 300))
    draft.line((0, 146), (100, 146), confidence=0.4)
    return draft.line((150, 300), (150, 220))


def open_border() -> nets.Draft:
    """Return a net with a gap of 30 mm in its upper border, and a lead too many below it."""
    draft = _two_by_two()
    draft.line((0, 300), (100, 300), (130, 300)).line((200, 300), (160, 300))
    return draft.line((0, 146), (100, 146), confidence=0.3)


@cache
def _files(draft: Callable[[], nets.Draft]) -> dict[str, bytes]:
    panel = panel_from(draft().net())
    rubbing = photograph(panel, Warp.similarity(2.0, 700), 500, 700)
    provenance = {"options": {"documents.overlay_px_per_mm": 2.0}}
    return document_files(panel, rubbing, provenance, OPTIONS)


def results(place: Path, draft: Callable[[], nets.Draft] = doubtful) -> Path:
    """Write the folder of results of a net."""
    place.mkdir(parents=True)
    for name, content in _files(draft).items():
        (place / name).write_bytes(content)
    return place


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


class Visitor:
    """A browser as far as the server can see: it opens the page once and keeps its cookie."""

    def __init__(self, page: Opened) -> None:
        self.page = page
        self.host = page.address.split("/")[2]
        self.port = int(self.host.split(":")[1])
        first = self.ask("GET", "/" + page.address.split("/", 3)[3], cookie="")
        self.opening = first
        self.cookie = first.headers["set-cookie"].split(";")[0]

    @property
    def desk(self) -> Desk:
        return self.page.desk

    def ask(
        self, method: str, path: str, body: bytes = b"", cookie: str | None = None, **more: str
    ) -> Answer:
        """Send a request; names of headers have _ for -."""
        line = HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        sent = self.cookie if cookie is None else cookie
        headers = {"cookie": sent} if sent else {}
        headers |= {name.replace("_", "-"): value for name, value in more.items()}
        try:
            line.request(method, path, body or None, headers)
            answer = line.getresponse()
            told = {name.lower(): value for name, value in answer.getheaders()}
            return Answer(answer.status, told, answer.read())
        finally:
            line.close()

    def get(self, path: str) -> Any:
        answer = self.ask("GET", path)
        assert answer.status == 200, answer.body
        return answer.json

    def send(self, path: str, method: str = "POST", **sent: Any) -> Answer:
        """Send a change with the digest and step of now."""
        now = self.desk.where()
        told = {"digest": now.digest, "step": now.step, **sent}
        more = {name.replace("-", "_"): value for name, value in WRITES.items()}
        return self.ask(method, path, json.dumps(told).encode(), **more)

    def raw(self, text: str) -> bytes:
        """Send bytes as they are and return all that comes back."""
        parts = []
        with socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE_S) as line:
            # Who refuses a long request may hang up before all of it is sent.
            with suppress(ConnectionError):
                line.sendall(text.replace("\n", "\r\n").encode("latin-1"))
            with suppress(ConnectionError):
                while part := line.recv(65_536):
                    parts.append(part)
        return b"".join(parts)


@contextmanager
def served(folder: Path, **how: Any) -> Iterator[Opened]:
    """Serve the review page of a folder in the block."""
    with opened(folder, **how) as page:
        thread = threading.Thread(target=page.serve)
        thread.start()
        try:
            yield page
        finally:
            page.quit_now()
            thread.join()


@contextmanager
def visited(folder: Path, **how: Any) -> Iterator[Visitor]:
    with served(folder, **how) as page:
        yield Visitor(page)
