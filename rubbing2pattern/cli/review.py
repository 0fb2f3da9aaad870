"""The command `review`: the review page of a folder of results."""

from __future__ import annotations

import os
import sys
from importlib.util import find_spec
from pathlib import Path
from webbrowser import open_new_tab

import click

from rubbing2pattern.cli.stdout import show
from rubbing2pattern.errors import EXIT_DONE, UsageFault
from rubbing2pattern.guide.topics import see

_NEEDED = ("starlette", "uvicorn")
_TOP_PORT = 65_535


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The picture that was traced, for its full resolution.  [looked for beside FOLDER]",
)
@click.option(
    "--port",
    type=click.IntRange(0, _TOP_PORT),
    default=0,
    metavar="N",
    help="Port of the page on this machine.  [any that is free]",
)
@click.option("--no-browser", is_flag=True, help="Only print the address; open no browser.")
@click.option("--no-cache", is_flag=True, help="Keep no tiles of the picture for the next time.")
def review(folder: Path, picture: Path | None, port: int, no_browser: bool, no_cache: bool) -> int:
    """Settle the doubts of the pattern in FOLDER on a page in the browser.

    The page shows the rubbing with the pattern over it, on this machine only. What you settle there
    is saved as a file of corrections, as 'rubbing2pattern correct' would apply it.
    """
    _refuse_without_extra()
    from rubbing2pattern.reviewing.server import opened

    with opened(
        folder,
        port=port,
        picture=picture,
        beside=(Path.cwd(),),
        cache=None if no_cache else _cache_folder(),
        say=lambda words: click.echo(f"rubbing2pattern: {words}", err=True),
    ) as page:
        show(f"The review page is open at\n  {page.address}", "the address cannot be shown")
        click.echo(
            "rubbing2pattern: the address works once; close the page or press Ctrl-C", err=True
        )
        if not no_browser:
            open_new_tab(page.address)
        page.serve()
    return EXIT_DONE


def _refuse_without_extra() -> None:
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        raise UsageFault(
            f"the review page needs {' and '.join(missing)}: install the program with its extra "
            f"[review], pipx install '.[review]'; {see('installing')}"
        )


def _cache_folder() -> Path:
    """Return where this system keeps what a program can make again."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache")
    return base / "rubbing2pattern" / "tiles"
