"""The review page in a real browser: by mouse, by keyboard, by touch, by what can be read."""

from __future__ import annotations

import math
import os
import re
import shutil
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from rubbing2pattern.reviewing.server import Opened
from rubbing2pattern.workflows.folders import kept_folder
from tests.reviewing.browser import SIZES, browser, on_screen, page_of, settled
from tests.reviewing.doubtful_demo import MISSED, NONE, doubtful_demo, reading
from tests.reviewing.served import results
from tests.running import listing, run_here as run

Shown = tuple[Page, Opened]
_MOST_DOUBTS = 12
"""Doubts of any panel here at most."""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def shown(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shown]:
    """Open a page for the tests that change nothing."""
    with page_of(chromium, results(tmp_path_factory.mktemp("shown") / "n4 3b")) as page:
        yield page


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return results(tmp_path / "n4 3b")


def save(page: Page) -> None:
    page.click("#to-save")
    page.fill("#save-by", "A. Glazier")
    page.fill("#save-date", "2026-11-25")
    page.click("#save")
    expect(page.locator("#said")).to_contain_text("Written")


def press_lead(page: Page, at_mm: tuple[float, float]) -> None:
    page.mouse.click(*on_screen(page, at_mm))
    expect(page.locator("#slip-here h2")).to_contain_text("Lead")


def test_everything_is_settled_by_mouse(chromium: Browser, folder: Path, tmp_path: Path) -> None:
    """A lead is taken out, one drawn, a joint dragged, a piece filled in; a step taken back."""
    other = shutil.copytree(folder, tmp_path / "other")
    with page_of(chromium, folder) as (page, review):
        page.click("#whole")
        press_lead(page, (50, 146))
        page.click("#take-out")
        settled(page, 1)
        page.click("#tool-lead")
        page.mouse.click(*on_screen(page, (0, 220)))
        page.mouse.click(*on_screen(page, (100, 225)))
        settled(page, 2)
        page.click("#tool-shift")
        start, end = on_screen(page, (100, 150)), on_screen(page, (104, 152))
        page.mouse.move(*start)
        page.mouse.down()
        page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        page.mouse.move(*end, steps=3)
        assert page.locator("#over .grabbed").count() == 4
        page.mouse.up()
        settled(page, 3)
        page.click("#undo")
        expect(page.locator("#slip-done .steps li")).to_have_count(2)
        page.click("#redo")
        settled(page, 3)
        save(page)
        assert review.desk.where().step == 0 and len(review.desk.panel.pieces) == 5
    corrections = sorted(folder.glob("corrections-*.toml"))
    said = "".join(path.read_text() for path in corrections)
    assert all(f"[[{kind}]]" in said for kind in ("remove_lead", "add_lead", "move_joint"))
    for path in corrections:
        assert run("correct", other, path).returncode == 0
    assert listing(folder) == listing(other)


def test_everything_is_settled_by_keyboard(chromium: Browser, folder: Path) -> None:
    """No pointer: doubts are walked and cured by their keys, a lead is drawn under the cross."""
    with page_of(chromium, folder) as (page, review):
        count = len(review.desk.findings().doubts)
        assert count > 1
        expect(page.locator("#slip-doubts h2")).to_have_text(f"Doubt 1 of {count}")
        page.keyboard.press("n")
        expect(page.locator("#slip-doubts h2")).to_have_text(f"Doubt 2 of {count}")
        expect(page.locator(".cure.shown")).to_have_count(1)
        last = page.locator(".cure").count()
        page.keyboard.press(str(last))
        expect(page.locator(f".cure.shown[data-cure='{last - 1}']")).to_have_count(1)
        page.keyboard.press(str(last))
        settled(page, 1)
        page.locator("#paper").focus()
        for key in ("0", "d", "Enter", "ArrowRight", "ArrowUp", "Enter"):
            page.keyboard.press(key)
        expect(page.locator(".drawn-point")).to_have_count(2)
        page.keyboard.press("Escape")
        expect(page.locator(".drawn-point")).to_have_count(0)
        page.keyboard.press("z")
        expect(page.locator("#slip-done .steps li")).to_have_count(0)
        page.keyboard.press("y")
        settled(page, 1)


def cure(page: Page, words: str, way: str, step: int) -> None:
    """Walk to the doubt with a cure, look at its effect, and choose it."""
    found = page.locator(".cure", has_text=words).first
    for _ in range(_MOST_DOUBTS):
        if found.count():
            break
        page.keyboard.press("n") if way == "keys" else page.click("text=Next")
    key = str(int(found.get_attribute("data-cure") or "0") + 1)
    if way == "mouse":
        found.hover()
    elif "shown" not in (found.get_attribute("class") or ""):
        page.keyboard.press(key)
    expect(found).to_have_class(re.compile("shown"))
    page.keyboard.press(key) if way == "keys" else found.click()
    settled(page, step)


def point(page: Page, at_mm: tuple[float, float], way: str) -> None:
    """Point at a place: with the mouse, or by moving the paper under the cross by arrow keys."""
    if way == "mouse":
        page.mouse.click(*on_screen(page, at_mm))
        return
    box = page.locator("#paper").bounding_box()
    assert box is not None
    middle = (box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    at, beside = on_screen(page, at_mm), on_screen(page, (at_mm[0] + 1.0, at_mm[1]))
    for axis, keys in enumerate((("ArrowRight", "ArrowLeft"), ("ArrowDown", "ArrowUp"))):
        off = at[axis] - middle[axis]
        strides, rest = divmod(abs(off), 60.0)
        for _ in range(int(strides)):
            page.keyboard.press(keys[off < 0.0])
        for _ in range(round(rest / (beside[0] - at[0]))):
            page.keyboard.press(f"Shift+{keys[off < 0.0]}")
    page.keyboard.press("Enter")


@pytest.mark.parametrize("way", ["mouse", "keys"])
def test_the_demo_made_doubtful_is_put_right(chromium: Browser, tmp_path: Path, way: str) -> None:
    """A lead is missing, one is none, the border is open; it ends as the demo was read.

    The folder is what the same corrections by command line give, byte for byte.
    """
    folder = doubtful_demo(tmp_path / "n4 3b")
    other = shutil.copytree(folder, tmp_path / "other")
    with page_of(chromium, folder) as (page, review):
        lead = next(
            c for c in review.desk.panel.cames if math.dist(c.path.mean(axis=0), NONE) < 5.0
        )
        cure(page, "Close the border", way, 1)
        cure(page, f"Take out {lead.id}", way, 2)
        if way == "keys":
            page.locator("#paper").focus()
            page.keyboard.press("0")
            page.keyboard.press("d")
        else:
            page.click("#whole")
            page.click("#tool-lead")
        for at_mm in MISSED:
            point(page, at_mm, way)
        settled(page, 3)
        for _ in range(_MOST_DOUBTS):
            if not review.desk.findings().doubts:
                break
            page.locator("#tab-doubts").press("Enter") if way == "keys" else page.click(
                "#tab-doubts"
            )
            right = next(
                c for c in review.desk.findings().doubts[0].cures if c.edits[0]["kind"] == "dismiss"
            )
            cure(page, right.words, way, review.desk.step + 1)
        expect(page.locator("#slip-doubts")).to_contain_text("Nothing is in doubt any more")
        save(page)
    for file in sorted(folder.glob("corrections-*.toml")):
        assert run("correct", other, file).returncode == 0
    assert listing(folder) == listing(other)
    put_right, read = kept_folder(folder).panel, reading().panel
    assert len(put_right.pieces) == len(read.pieces)
    for piece in read.pieces:
        again = put_right.piece_at(piece.label_at)
        assert again is not None
        assert again.centre_area_mm2 == pytest.approx(piece.centre_area_mm2, rel=0.002)


def test_a_cure_is_drawn_before_it_is_done(chromium: Browser, folder: Path) -> None:
    with page_of(chromium, folder) as (page, review):
        expect(page.locator(".cure.shown")).to_have_count(1)
        assert review.desk.where().step == 0
        page.click("#tool-tape")  # what is drawn now is the tape's
        expect(page.locator(".cure.shown")).to_have_count(0)
        page.locator(".cure").last.hover()
        expect(page.locator(".cure").last).to_have_class(re.compile("shown"))
        assert review.desk.where().step == 0
        page.locator(".cure").last.click()
        settled(page, 1)


def test_names_and_remarks_with_markup_stay_text(chromium: Browser, folder: Path) -> None:
    remark = "<img src=x onerror=alert(1)><b>bold</b>"
    with page_of(chromium, folder) as (page, review):
        page.click("#tab-glass")
        page.check("input[aria-label='Piece 1']")
        page.fill("#cell-remark", remark)
        page.fill("#cell-glass", remark)
        page.click("#write-cells")
        settled(page, 1)
        assert page.locator("img, #slip-glass b b").count() == 0
        assert remark in page.inner_text("#slip-glass table")
        assert review.desk.written().entries["1"]["remark"] == remark


def test_several_pieces_are_written_at_once(chromium: Browser, folder: Path) -> None:
    with page_of(chromium, folder) as (page, review):
        page.click("#tab-glass")
        for number in (1, 2):
            page.check(f"input[aria-label='Piece {number}']")
        page.select_option("#cell-state", "cracked")
        page.click("#write-cells")
        settled(page, 1)
        page.get_by_text("Choose none").click()
        page.click("label:has(#condition-on)")
        fills = page.evaluate(
            "[...document.querySelectorAll('.glass path')].map((p) => getComputedStyle(p).fill)"
        )
        assert sorted(fills) == ["none"] * 3 + ['url("#hatch-cracked-")'] * 2
        assert {*review.desk.written().entries} == {"1", "2"}


def test_two_fingers_and_one(chromium: Browser, folder: Path) -> None:
    """Touch as the browser sends it: one finger pushes, two pinch, a tap chooses."""
    with page_of(chromium, folder, "upright", touch=True) as (page, review):
        wire = page.context.new_cdp_session(page)

        def touch(kind: str, *places: tuple[float, float]) -> None:
            points = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(places)]
            wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        middle = on_screen(page, (50, 75))
        touch("touchStart", middle)
        touch("touchEnd")
        expect(page.locator("#slip-here h2")).to_contain_text("Piece")
        before = on_screen(page, (200, 0))[0] - on_screen(page, (0, 0))[0]
        x, y = middle
        touch("touchStart", (x - 20, y), (x + 20, y))
        touch("touchMove", (x - 40, y), (x + 40, y))
        touch("touchEnd")
        expect(page.locator("#net-layer")).to_have_attribute("style", "")
        after = on_screen(page, (200, 0))[0] - on_screen(page, (0, 0))[0]
        assert after == pytest.approx(2.0 * before, rel=0.1)
        assert review.desk.where().step == 0


def test_buttons_can_be_hit_and_nothing_runs_off(shown: Shown) -> None:
    """WCAG 2.2, success criteria 2.5.5 (44 by 44 CSS pixels) and 1.4.10 (no second scroll bar)."""
    page, _ = shown
    for size, tab in product(SIZES, ("doubts", "here", "glass", "done")):
        page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
        page.click(f"#tab-{tab}")
        small = page.evaluate(
            """() => [...document.querySelectorAll("button, select, input, summary")]
              .filter((e) => e.offsetParent)
              .map((e) => (e.closest("label.tick") ?? e))
              .filter((e) => e.id !== "fade")
              .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
              .filter(([, box]) => box.height < 43.5 || box.width < 43.5)
              .map(([text]) => text)"""
        )
        assert small == []
        wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]


def test_a_reader_of_the_screen_gets_everything_as_text(shown: Shown) -> None:
    """WAI-ARIA 1.2: names and roles as the browser's accessibility tree gives them."""
    page, review = shown
    page.click("#tab-doubts")
    doubt = review.desk.findings().doubts[0]
    tree = page.locator("body").aria_snapshot()
    assert doubt.words[:40] in tree
    for name in ('tab "Doubts" [selected]', 'radio "Look" [checked]', "slider", "status"):
        assert name in tree, tree
    page.click("#tab-glass")
    assert page.get_by_role("table").get_by_role("row").count() == 6
    nameless = page.evaluate(
        """() => [...document.querySelectorAll("button, input, select, textarea")]
          .filter((e) => !e.textContent.trim() && !e.labels?.length
            && !e.getAttribute("aria-label")).map((e) => e.outerHTML)"""
    )
    assert nameless == []


def test_a_checker_of_access_finds_nothing(chromium: Browser, folder: Path) -> None:
    """axe-core, a checker of WCAG 2.2 and WAI-ARIA, reports no violation on any slip."""
    axe = os.environ.get("AXE")
    if not axe:
        pytest.skip("no axe-core on this machine; name its script, AXE=/path/axe.min.js")
    with page_of(chromium, folder, tested=True) as (page, _):
        page.evaluate(Path(axe).read_text(encoding="utf-8"))
        for tab in ("doubts", "here", "glass", "done"):
            page.click(f"#tab-{tab}")
            if tab == "glass":
                page.get_by_text("Choose all").click()
            found = page.evaluate(
                "axe.run().then((r) => [r.passes.length, r.violations.map((v) => v.help)])"
            )
            assert found[0] > 10 and found[1] == [], tab


def test_what_was_not_saved_is_offered(chromium: Browser, folder: Path) -> None:
    with page_of(chromium, folder) as (page, _):
        expect(page.locator(".cure.shown")).to_have_count(1)
        page.keyboard.press("1")
        settled(page, 1)
    with page_of(chromium, folder) as (page, _):
        page.get_by_role("button", name="Take them up").click()
        settled(page, 1)
        page.click("#tab-done")
        page.click("#quit")
        expect(page.locator("body")).to_contain_text("The review is closed")
