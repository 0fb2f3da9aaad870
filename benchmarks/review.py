"""What the review page costs: ``python -m benchmarks.review FOLDER --picture scan.png``.

FOLDER is copied and reviewed in the machine's Chromium (``CHROMIUM=/path``). Printed are

- how long after the command the first useful picture is there, with tiles cut before and without,
  how much of that is the server's processor time, and how long the browser waits by its own clock;
- processor time of the answer to an edit, for every kind of edit, and the size of the answer;
- time between frames, by the browser's own clock, while a joint is dragged, while the paper is
  pushed and while it comes nearer.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from benchmarks.cases import ROOT
from rubbing2pattern.reviewing import bodies
from rubbing2pattern.reviewing.desk import Desk
from rubbing2pattern.workflows.folders import kept_folder

FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
STEPS = 120
"""Moves of the pointer in one drag: two seconds of frames."""
FRAMES = """() => {
  window.frames_ms = [];
  let last = performance.now();
  const note = (now) => {
    window.frames_ms.push(now - last);
    last = now;
    requestAnimationFrame(note);
  };
  requestAnimationFrame(note);
}"""


SHOWN = """() => new Promise((done) => requestAnimationFrame(
  () => requestAnimationFrame(() => done(performance.now()))
))"""
"""The second frame from now has been drawn with what is there now."""


def main() -> None:
    """Print all figures of one folder."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("folder", type=Path)
    options.add_argument("--picture", type=Path)
    options.add_argument("--runs", type=int, default=3)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(shutil.copytree(given.folder, Path(place) / "panel"))
        edits(folder, given.runs)
        for run in range(given.runs + 1):
            kind = "tiles cut anew" if run == 0 else "tiles cut before"
            with reviewed(folder, Path(place), given.picture) as (page, server, begun):
                print(f"first useful picture, {kind}: {time.perf_counter() - begun:.2f} s")
                shown_ms = page.evaluate(SHOWN)
                print(f"  the server took {processor_s(server):.2f} s of processor time till then,")
                print(
                    f"  the browser had it {shown_ms / 1e3:.2f} s after it asked, by its own clock"
                )
                if run == given.runs:
                    frames(page)


def edits(folder: Path, runs: int) -> None:
    """Print processor time and size of the answers to edits."""
    begun = time.process_time()
    kept = kept_folder(folder)
    desk = Desk(folder, None, kept)
    print(f"{len(kept.panel.pieces)} pieces, {len(kept.panel.cames)} leads")
    print(f"opened in {time.process_time() - begun:.2f} s of processor time")
    net = desk.net()
    inner = [came for came in net.cames if not came.border]
    middle = inner[len(inner) // 2]
    joint = next(j for j in net.joints if j.id == middle.start)
    piece = net.pieces[len(net.pieces) // 2]
    tried: dict[str, dict[str, Any]] = {
        "remove_lead": {"came": middle.id},
        "move_joint": {"joint": joint.id, "to": [joint.at[0] + 0.6, joint.at[1] + 0.4]},
        "set_width": {"came": middle.id, "width_mm": 7.0},
        "renumber": {"piece": piece.number, "number": 9_000},
    }
    for kind, fields in tried.items():
        times, size = [], 0
        for _ in range(runs):
            begun = time.process_time()
            answer = desk.edit(bodies.Edits(edits=({"kind": kind, **fields},), **now(desk)))
            size = len(answer.model_dump_json())
            times.append(time.process_time() - begun)
            desk.undo(bodies.Write(**now(desk)))
        print(f"{kind}: {statistics.median(times):.3f} s of processor time, {size / 1e3:.0f} kB")


def now(desk: Desk) -> dict[str, Any]:
    """Return what every write carries."""
    return {"digest": desk.session.digest, "step": desk.step}


@contextmanager
def reviewed(folder: Path, place: Path, picture: Path | None) -> Iterator[tuple[Page, int, float]]:
    """Start the command, open its page and wait for the first useful picture."""
    command = [sys.executable, "-m", "rubbing2pattern", "review", str(folder), "--no-browser"]
    command += [] if picture is None else ["--picture", str(picture)]
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment = {**kept, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(place / "cache")}
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=list(FLAGS))
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        begun = time.perf_counter()
        with subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as server:
            try:
                assert server.stdout is not None
                server.stdout.readline()
                with page.expect_response(lambda answer: "/tiles/" in answer.url):
                    page.goto(server.stdout.readline().strip())
                page.wait_for_selector("body[data-ready]")
                yield page, server.pid, begun
            finally:
                browser.close()
                server.terminate()


def processor_s(pid: int) -> float:
    """Return the processor time that a running process has taken, from Linux's /proc."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def frames(page: Page) -> None:
    """Print the time between frames while the paper and a joint move."""
    box = page.locator("#paper").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.evaluate(FRAMES)

    def dragged(what: str, tool: str, begin: Callable[[], tuple[float, float]]) -> None:
        page.click(f"#tool-{tool}")
        start = begin()
        page.mouse.move(*start)
        page.mouse.down()
        page.evaluate("window.frames_ms.length = 0")
        for k in range(STEPS):
            page.mouse.move(start[0] + 40 * (k % 30) / 30, start[1] + 25 * (k % 20) / 20)
        told(page, what)
        page.keyboard.press("Escape")
        page.mouse.up()

    dragged("paper pushed, whole panel", "look", lambda: (x, y))
    for _ in range(4):
        page.click("#nearer")
    page.wait_for_timeout(500)
    dragged("paper pushed, near", "look", lambda: (x, y))
    page.wait_for_timeout(500)
    dragged("joint dragged", "shift", lambda: joint_near(page, x, y))
    page.evaluate("window.frames_ms.length = 0")
    page.mouse.move(x, y)
    for k in range(STEPS // 2):
        page.mouse.wheel(0, -30 if k % 20 < 10 else 30)
        page.wait_for_timeout(16)
    told(page, "wheel")


def joint_near(page: Page, x: float, y: float) -> tuple[float, float]:
    """Return where the joint nearest to a place of the screen is drawn."""
    places = page.evaluate(
        """() => [...document.querySelectorAll("#net .joints circle")].map((c) => {
          const box = c.getBoundingClientRect();
          return [box.x + box.width / 2, box.y + box.height / 2];
        })"""
    )
    return min(map(tuple, places), key=lambda at: (at[0] - x) ** 2 + (at[1] - y) ** 2)


def told(page: Page, what: str) -> None:
    """Print median and 95th percentile of the frames noted."""
    times = sorted(json.loads(page.evaluate("JSON.stringify(window.frames_ms)")))
    p95 = times[int(0.95 * (len(times) - 1))]
    print(
        f"{what}: {statistics.median(times):.1f} ms a frame, p95 {p95:.1f} ms, {len(times)} frames"
    )


if __name__ == "__main__":
    main()
