"""The requests of the page and their answers; see `bodies.INTERFACE`.

Nothing that a request says becomes a path: files of the page are looked up by their name in a
table that is read at the start, tiles by three numbers.
"""

from __future__ import annotations

import math
import re
import threading
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from rubbing2pattern.errors import OutputNotWritten, RubbingError
from rubbing2pattern.reviewing import bodies
from rubbing2pattern.reviewing.desk import Desk, Stale
from rubbing2pattern.reviewing.guard import Guard, Keys, TooLong
from rubbing2pattern.texts import field_fault

_KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
_INDEX = "index.html"
_MOST_DIGITS = 6
"""Digits of a number in an address at most; no level, tile or piece has more."""
_NUMBER = rf"[0-9]{{1,{_MOST_DIGITS}}}"
_TILE = re.compile(rf"/tiles/({_NUMBER})/({_NUMBER})_({_NUMBER})")
_PIECES = re.compile(rf"/pieces/({_NUMBER}(?:,{_NUMBER})*)")
B = TypeVar("B", bound=bodies.Write)


class Pages:
    """Answers for one desk; `quit_now` ends the server."""

    def __init__(self, desk: Desk, quit_now: Callable[[], None]) -> None:
        self.desk, self.quit_now = desk, quit_now
        self.turn = threading.Lock()
        self.files = page_files()

    def routes(self) -> list[Route]:
        """Return the routes of all requests."""
        desk = self.desk
        shows: dict[str, Callable[[], BaseModel]] = {
            "/session": desk.where,
            "/net": desk.net,
            "/findings": desk.findings,
            "/pieces": desk.written,
        }
        return [
            *(Route(path, self._showing(what), methods=["GET"]) for path, what in shows.items()),
            self._writing("/preview", bodies.Edits, desk.preview),
            self._writing("/edits", bodies.Edits, desk.edit),
            self._writing("/undo", bodies.Write, desk.undo),
            self._writing("/redo", bodies.Write, desk.redo),
            self._writing("/draft", bodies.Take, desk.take),
            self._writing("/save", bodies.Save, desk.save),
            Route("/quit", self._quit, methods=["POST"]),
            Route("/pieces/{numbers}", self._type, methods=["PUT"]),
            Route("/ridge", self._ridge, methods=["GET"]),
            Route("/tiles/{level}/{place}", self._tile, methods=["GET"]),
            Route("/schema", self._schema, methods=["GET"]),
            Route("/{name:path}", self._file, methods=["GET"]),
        ]

    def _showing(self, what: Callable[[], BaseModel]) -> Callable[[Request], Response]:
        def show(request: Request) -> Response:
            with self.turn:
                return _json(what())

        return show

    def _writing(self, path: str, kind: type[B], do: Callable[[B], BaseModel]) -> Route:
        async def write(request: Request) -> Response:
            sent = kind.model_validate_json(await request.body())
            return await run_in_threadpool(self._in_turn, lambda: do(sent))

        return Route(path, write, methods=["POST"])

    def _in_turn(self, do: Callable[[], BaseModel]) -> Response:
        with self.turn:
            return _json(do())

    async def _type(self, request: Request) -> Response:
        named = _PIECES.fullmatch(request.url.path)
        if named is None:
            return _nothing(request)
        numbers = [*dict.fromkeys(int(n) for n in named[1].split(","))]
        sent = bodies.Cells.model_validate_json(await request.body())
        return await run_in_threadpool(self._in_turn, lambda: self.desk.type(numbers, sent))

    async def _quit(self, request: Request) -> Response:
        bodies.Write.model_validate_json(await request.body())
        self.quit_now()
        return Response(status_code=204)

    async def _tile(self, request: Request) -> Response:
        named, pack = _TILE.fullmatch(request.url.path), self.desk.pack
        tile = None if named is None or pack is None else pack.tile(*map(int, named.groups()))
        return _nothing(request) if tile is None else Response(tile, media_type="image/jpeg")

    def _ridge(self, request: Request) -> Response:
        try:
            x, y, reach = (float(request.query_params[name]) for name in ("x", "y", "reach"))
        except (KeyError, ValueError):
            return _nothing(request)
        if not (all(map(math.isfinite, (x, y))) and 0.0 < reach < math.inf):
            return _nothing(request)
        with self.turn:
            return _json(self.desk.ridge((x, y), reach))

    async def _schema(self, request: Request) -> Response:
        return JSONResponse(bodies.schema())

    async def _file(self, request: Request) -> Response:
        name = request.path_params["name"] or _INDEX
        content = self.files.get(name)
        if content is None:
            return _nothing(request)
        return Response(content, media_type=_KINDS[Path(name).suffix])


def application(desk: Desk, keys: Keys, quit_now: Callable[[], None]) -> ASGIApp:
    """Return the application of a review, behind its guard."""
    pages = Pages(desk, quit_now)
    app = Starlette(
        routes=pages.routes(),
        exception_handlers={
            Stale: _stale,
            TooLong: _too_long,
            ValidationError: _invalid,
            RubbingError: _refused,
        },
    )
    return Guard(app, keys)


def page_files() -> dict[str, bytes]:
    """Return the files of the page by name."""
    here = files("rubbing2pattern.reviewing").joinpath("page")
    names = [item.name for item in here.iterdir() if Path(item.name).suffix in _KINDS]
    return {
        name: files("rubbing2pattern.reviewing").joinpath("page", name).read_bytes()
        for name in names
    }


def _json(model: BaseModel) -> Response:
    return Response(model.model_dump_json(), media_type="application/json")


def _told(status: int, why: str) -> Response:
    return JSONResponse(bodies.Refused(refused=why).model_dump(), status_code=status)


def _nothing(request: Request) -> Response:
    return _told(404, "there is nothing at this address")


def _stale(request: Request, fault: Exception) -> Response:
    return _told(409, "the page is behind: another tab or command changed the panel; load it again")


def _too_long(request: Request, fault: Exception) -> Response:
    return _told(413, "the body is too long")


def _refused(request: Request, fault: Exception) -> Response:
    return _told(409 if isinstance(fault, OutputNotWritten) else 422, str(fault))


def _invalid(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, ValidationError)
    first = fault.errors(include_url=False)[0]
    where = ".".join(str(step) for step in first["loc"])
    return _told(400, f"{where}: {field_fault(first['type'], first['msg'])}")
