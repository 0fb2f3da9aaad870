"""The server of the review page: on this machine only, until the page or the terminal ends it."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.reviewing.app import application
from rubbing2pattern.reviewing.desk import Desk
from rubbing2pattern.reviewing.guard import Keys
from rubbing2pattern.reviewing.tiles import pack_for
from rubbing2pattern.workflows.folders import kept_folder
from rubbing2pattern.workflows.holding import held

_LOOPBACK = "127.0.0.1"
_WAITING = 64
"""Connections that wait at most; a browser opens six."""
_LARGEST_HEAD_BYTES = 16_384
"""Bytes of the head of a request at most."""
_IDLE_S = 30
"""Seconds after which an idle connection is closed."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A review that is ready: its address with the token, and what serves it until it is ended.

    Attributes
    ----------
    address : for the browser; it opens the page once.
    desk : the review itself.
    serve : returns when the page was closed, or the terminal ends it.
    quit_now : ends `serve` from another thread.
    """

    address: str
    desk: Desk
    serve: Callable[[], None]
    quit_now: Callable[[], None]


@contextmanager
def opened(
    folder: Path,
    *,
    port: int = 0,
    picture: Path | None = None,
    beside: Sequence[Path] = (),
    cache: Path | None = None,
    say: Callable[[str], None] = lambda words: None,
) -> Iterator[Opened]:
    """Open a folder of results for review; in the block it is held.

    Parameters
    ----------
    folder : of results.
    port : of the server; 0 for any that is free.
    picture : the picture that the folder was traced from, where it lies elsewhere.
    beside : further folders in which it may lie.
    cache : folder for tiles, or None to keep none.
    say : is told what takes long.

    Raises
    ------
    RubbingError
        The folder cannot be read or is held by another process, `picture` is another one, or the
        port is taken.
    """
    with _listening(port) as listener:
        keys = Keys(listener.getsockname()[1])
        by = f"the review page at {keys.origin} (process {os.getpid()})"
        with held(folder, by):
            kept = kept_folder(folder)
            say("reading the pattern and cutting the picture into tiles")
            near = (folder, folder.resolve().parent, *beside)
            pack = pack_for(
                kept.panel,
                kept.record.provenance,
                kept.options,
                kept.rubbing,
                picture=picture,
                beside=near,
                cache=cache,
            )
            desk = Desk(folder, pack, kept)
            yield _serving(desk, keys, listener)


def _serving(desk: Desk, keys: Keys, listener: socket.socket) -> Opened:
    def quit_now() -> None:
        server.should_exit = True

    config = uvicorn.Config(
        application(desk, keys, quit_now),
        http="h11",
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        h11_max_incomplete_event_size=_LARGEST_HEAD_BYTES,
        timeout_keep_alive=_IDLE_S,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    return Opened(keys.address, desk, lambda: server.run(sockets=[listener]), quit_now)


@contextmanager
def _listening(port: int) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listener:
        try:
            listener.bind((_LOOPBACK, port))
        except OSError as fault:
            raise OutputNotWritten(
                f"port {port} of this machine cannot be used: {fault.strerror}; choose another "
                "--port, or none"
            ) from fault
        listener.listen(_WAITING)
        yield listener
