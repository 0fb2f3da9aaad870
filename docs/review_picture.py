"""Make the pictures of the review page: the shipped rubbing with a doubt, in a real browser.

Without a Chromium (``CHROMIUM=/path``) the pictures stay as they are.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
from importlib.resources import files
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from rubbing2pattern import parse_reference, trace_rubbing, write_reading
from rubbing2pattern.demo import PANEL, PICTURE, SEEN_FROM, SHEET
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.reviewing.server import opened
from rubbing2pattern.workflows.correct import correct_folder

PLACE = Path(__file__).parent / "pictures"
SIZE = {"width": 1280, "height": 800}
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
DOUBT = b"""\
by = "A. Glazier"
date = 2026-11-25
[[remove_lead]]
came = "C40"
[[remove_lead]]
came = "C13"
[[add_lead]]
from = [92.7, 198.9]
to = [158.8, 198.9]
"""
WRITTEN = {9: ("cracked", "edge-bond"), 25: ("broken", "copper foil"), 30: ("missing", "replace")}


def main() -> None:
    """Trace the shipped rubbing, make it doubtful, and take both pictures."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not chromium:
        print("no Chromium; the pictures of the review page stay as they are")
        return
    with tempfile.TemporaryDirectory() as scratch:
        image, folder = Path(scratch) / PICTURE, Path(scratch) / "demo"
        image.write_bytes((files("rubbing2pattern.demo") / PICTURE).read_bytes())
        reference = parse_reference(sheet=SHEET)
        write_reading(trace_rubbing(image, reference, name=PANEL, seen_from=SEEN_FROM), folder)
        correct_folder(folder, corrections_from(DOUBT))
        with opened(folder) as review, sync_playwright() as driver:
            thread = threading.Thread(target=review.serve)
            thread.start()
            browser = driver.chromium.launch(executable_path=chromium, args=list(FLAGS))
            page = browser.new_page(viewport=SIZE)
            page.goto(review.address)
            page.wait_for_selector("body[data-ready]")
            pictures(page)
            browser.close()
            review.quit_now()
            thread.join()


def pictures(page: Page) -> None:
    """Take the picture of a doubt with its cure drawn, and of the sheet of pieces."""
    page.wait_for_selector(".cure.shown")
    page.get_by_text("Show the place").click()
    page.locator("#slip-doubts").evaluate("(slip) => { slip.scrollTop = 0; }")
    page.hover(".cure >> nth=0")
    page.wait_for_selector(".cure.shown >> nth=0")
    taken(page, "review-doubt.jpg")
    page.click("#tab-glass")
    for number, (state, action) in WRITTEN.items():
        box = f"input[aria-label='Piece {number}']"
        page.check(box)
        page.select_option("#cell-state", state)
        page.select_option("#cell-action", action)
        page.click("#write-cells")
        page.wait_for_selector(f"#slip-glass tr:has({box}) td:has-text('{state}')")
        page.uncheck(box)
    page.click("#whole")
    page.click("label:has(#condition-on)")
    page.check("input[aria-label='Piece 25']")
    page.locator("#slip-glass").evaluate("(slip) => { slip.scrollTop = 0; }")
    taken(page, "review-glass.jpg")


def taken(page: Page, name: str) -> None:
    """Take a picture when the paper rests."""
    page.wait_for_timeout(1_500)
    page.screenshot(path=PLACE / name, type="jpeg", quality=80)


if __name__ == "__main__":
    main()
