"""A real browser for the tests: the Chromium that the machine has, driven by playwright.

`CHROMIUM=/path` names another one. Where there is none its tests are skipped, unless the variable
says that there must be one.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from rubbing2pattern.reviewing.server import Opened
from tests.reviewing.served import served
from tests.running import PATIENCE_S

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
expect.set_options(PATIENCE_S * 1000)
SIZES = {"desk": (1280, 800), "small": (1024, 768), "upright": (768, 1024)}


def path_of_chromium() -> str:
    """Return the path of the browser, or skip the test with the reason."""
    given = os.environ.get("CHROMIUM")
    if given:
        assert Path(given).is_file(), f"CHROMIUM={given} is no file"
        return given
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        pytest.skip("no Chromium on this machine; install it or name one, CHROMIUM=/path")
    return found


@contextmanager
def browser() -> Iterator[Browser]:
    """Start a browser of its own, without a window and without a profile."""
    path = path_of_chromium()
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield chromium
        finally:
            chromium.close()


@contextmanager
def page_of(
    chromium: Browser,
    folder: Path,
    size: str = "desk",
    *,
    touch: bool = False,
    tested: bool = False,
) -> Iterator[tuple[Page, Opened]]:
    """Open the review page of a folder; any fault of its script fails the test.

    A page that is `tested` lets a checker in, which its own policy keeps out.
    """
    wide, high = SIZES[size]
    faults: list[str] = []
    with served(folder) as review:
        context = chromium.new_context(
            viewport={"width": wide, "height": high},
            has_touch=touch,
            reduced_motion="reduce",
            bypass_csp=tested,
        )
        context.set_default_timeout(PATIENCE_S * 1000)
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("requestfailed", lambda request: faults.append(request.url))
        page.goto(review.address)
        page.wait_for_selector("body[data-ready]")
        yield page, review
        context.close()
    assert not faults


def on_screen(page: Page, at_mm: tuple[float, float]) -> tuple[float, float]:
    """Return where a place of the panel lies in the window, read off the drawn net."""
    found = page.evaluate(
        """([x, y]) => {
            const svg = document.getElementById("net");
            const point = new DOMPoint(x, -y).matrixTransform(svg.getScreenCTM());
            return [point.x, point.y];
        }""",
        list(at_mm),
    )
    return float(found[0]), float(found[1])


def settled(page: Page, steps: int) -> None:
    """Wait until so many changes are listed and the paper rests."""
    page.locator(f"#slip-done .steps li >> nth={steps - 1}").wait_for(state="attached")
