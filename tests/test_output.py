"""Output appears whole or not at all, and nothing that is not ours is ever lost."""

from __future__ import annotations

import json
import os
import signal
import stat
import sys
import time
from pathlib import Path

import pytest
from filelock import FileLock

from rubbing2pattern import output
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.output import check_folder, inside, whole_folder, write_files, write_whole
from tests.running import ended, python, started

OWN = ("panel.json", "pattern*.svg", "cames.csv")


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def make_results(folder: Path, mark: str, *, overwrite: bool = False) -> None:
    with whole_folder(folder, OWN, overwrite=overwrite) as partial:
        (partial / "panel.json").write_text(mark)
        (partial / f"pattern-{mark}.svg").write_text(mark)


def test_the_folder_appears_with_all_its_files_and_nothing_beside_it(tmp_path: Path) -> None:
    make_results(tmp_path / "a", "one")
    assert contents(tmp_path / "a") == {"panel.json": b"one", "pattern-one.svg": b"one"}
    assert names(tmp_path) == ["a"]


def test_nothing_is_visible_under_the_name_before_the_end(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "a", OWN) as partial:
        (partial / "panel.json").write_text("x")
        assert not (tmp_path / "a").exists()
        assert partial.parent == tmp_path
    assert (tmp_path / "a").exists()


def test_rights_follow_the_users_mask(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        make_results(tmp_path / "a", "one")
        write_whole(tmp_path / "b.pdf", b"x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o755
    assert stat.S_IMODE((tmp_path / "b.pdf").stat().st_mode) == 0o644


@pytest.mark.parametrize("name", ["n4 3b, Fenster ä", "第三", "a" * 200, "back\\slash"])
def test_any_name_of_a_folder_will_do(tmp_path: Path, name: str) -> None:
    make_results(tmp_path / name, "one")
    assert names(tmp_path) == [name]


def test_missing_folders_above_are_made_and_go_again_after_a_failure(tmp_path: Path) -> None:
    make_results(tmp_path / "n4" / "3b" / "out", "one")
    assert (tmp_path / "n4" / "3b" / "out" / "panel.json").read_text() == "one"
    with pytest.raises(RuntimeError), whole_folder(tmp_path / "s2" / "1a" / "out", OWN):
        raise RuntimeError
    assert names(tmp_path) == ["n4"]


def test_an_existing_folder_is_refused_and_untouched(tmp_path: Path) -> None:
    make_results(tmp_path / "a", "one")
    with pytest.raises(OutputNotWritten, match="--overwrite"):
        make_results(tmp_path / "a", "two")
    assert contents(tmp_path / "a") == {"panel.json": b"one", "pattern-one.svg": b"one"}
    assert names(tmp_path) == ["a"]


def test_an_existing_empty_folder_needs_overwrite_too(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(OutputNotWritten, match="--overwrite"):
        make_results(tmp_path / "a", "one")
    make_results(tmp_path / "a", "one", overwrite=True)
    assert (tmp_path / "a" / "panel.json").read_text() == "one"


def test_overwrite_replaces_old_results_and_keeps_what_others_put_there(tmp_path: Path) -> None:
    make_results(tmp_path / "a", "one")
    (tmp_path / "a" / "notes.txt").write_text("piece 7 is cracked")
    (tmp_path / "a" / "photos").mkdir()
    (tmp_path / "a" / "photos" / "1.jpg").write_bytes(b"jpg")
    make_results(tmp_path / "a", "two", overwrite=True)
    assert names(tmp_path / "a") == ["notes.txt", "panel.json", "pattern-two.svg", "photos"]
    assert (tmp_path / "a" / "notes.txt").read_text() == "piece 7 is cracked"
    assert (tmp_path / "a" / "photos" / "1.jpg").read_bytes() == b"jpg"
    assert (tmp_path / "a" / "panel.json").read_text() == "two"
    assert names(tmp_path) == ["a"]


def test_a_folder_of_someone_else_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "to the vicar.txt").write_text("dear")
    with pytest.raises(OutputNotWritten, match=r"no panel\.json"):
        make_results(tmp_path / "letters", "one", overwrite=True)
    assert contents(tmp_path / "letters") == {"to the vicar.txt": b"dear"}


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("keep me")
    for overwrite in (False, True):
        with pytest.raises(OutputNotWritten, match="is a file"):
            make_results(tmp_path / "a", "one", overwrite=overwrite)
    with pytest.raises(OutputNotWritten, match="not a folder that you may write to"):
        make_results(tmp_path / "a" / "b", "one")
    assert (tmp_path / "a").read_text() == "keep me"


def test_a_folder_above_that_cannot_be_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The superuser may write anywhere, so the answer of the system is given here.
    monkeypatch.setattr(output.os, "access", lambda path, mode: False)
    with pytest.raises(OutputNotWritten, match="cannot write"):
        check_folder(tmp_path / "a")


def test_the_root_is_refused() -> None:
    with pytest.raises(OutputNotWritten):
        check_folder(Path("/"), overwrite=True)


@pytest.mark.parametrize("fault", [KeyboardInterrupt, RuntimeError, SystemExit])
@pytest.mark.parametrize("old", [False, True])
def test_a_broken_off_run_leaves_everything_as_it_was(
    tmp_path: Path, fault: type[BaseException], old: bool
) -> None:
    if old:
        make_results(tmp_path / "a", "one")
    with pytest.raises(fault), whole_folder(tmp_path / "a", OWN, overwrite=True) as partial:
        (partial / "panel.json").write_text("two")
        raise fault
    assert names(tmp_path) == (["a"] if old else [])
    assert not old or (tmp_path / "a" / "panel.json").read_text() == "one"


def test_a_full_disk_is_said_plainly(tmp_path: Path) -> None:
    with (
        pytest.raises(OutputNotWritten, match="No space left"),
        whole_folder(tmp_path / "a", OWN),
    ):
        raise OSError(28, "No space left on device")
    assert names(tmp_path) == []


@pytest.mark.parametrize("fails_at", [1, 2])
@pytest.mark.parametrize("fault", [OSError(18, "Invalid cross-device link"), KeyboardInterrupt()])
def test_when_the_swap_fails_the_old_folder_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int, fault: BaseException
) -> None:
    make_results(tmp_path / "a", "one")
    (tmp_path / "a" / "notes.txt").write_text("mine")
    calls = []
    rename = Path.rename

    def failing(self: Path, target: Path) -> Path:
        calls.append(self)
        if len(calls) == fails_at:
            raise fault
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    monkeypatch.setattr(output, "_exchanged", lambda one, other: False)
    with pytest.raises((OutputNotWritten, KeyboardInterrupt)):
        make_results(tmp_path / "a", "two", overwrite=True)
    assert len(calls) >= fails_at
    assert names(tmp_path) == ["a"]
    assert names(tmp_path / "a") == ["notes.txt", "panel.json", "pattern-one.svg"]
    assert (tmp_path / "a" / "panel.json").read_text() == "one"


@pytest.mark.parametrize("in_one_step", [True, False])
def test_an_interrupt_after_the_swap_leaves_the_new_folder_alone_in_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, in_one_step: bool
) -> None:
    make_results(tmp_path / "a", "one")
    (tmp_path / "a" / "notes.txt").write_text("mine")
    (tmp_path / "a" / "photos" / "deep").mkdir(parents=True)
    (tmp_path / "a" / "photos" / "deep" / "old.jpg").write_text("mine too")
    sync = output._sync
    broken = []

    def interrupted_once(path: Path) -> None:
        if path == tmp_path and not broken:
            broken.append(path)
            raise KeyboardInterrupt
        sync(path)

    if not in_one_step:
        monkeypatch.setattr(output, "_exchanged", lambda one, other: False)
    monkeypatch.setattr(output, "_sync", interrupted_once)
    with pytest.raises(KeyboardInterrupt):
        make_results(tmp_path / "a", "two", overwrite=True)
    assert names(tmp_path) == ["a"]
    assert names(tmp_path / "a") == ["notes.txt", "panel.json", "pattern-two.svg", "photos"]
    assert (tmp_path / "a" / "photos" / "deep" / "old.jpg").read_text() == "mine too"


_SWAPPING = """
import sys
from itertools import count
from pathlib import Path
from rubbing2pattern.output import whole_folder
OWN = ("panel.json", "pattern*.svg", "cames.csv")
for number in count():
    with whole_folder(Path(sys.argv[1]), OWN, overwrite=True) as partial:
        for name in ("panel.json", "pattern.svg", "cames.csv"):
            (partial / name).write_text(str(number))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="changes places in one step")
def test_killed_at_any_moment_the_folder_is_the_old_one_or_the_new_one(tmp_path: Path) -> None:
    folder = tmp_path / "a"
    make_results(folder, "one")
    (folder / "notes.txt").write_text("mine")
    for k in range(12):
        begun = (folder / "panel.json").stat().st_ino
        process = started(folder, code=_SWAPPING)
        while (folder / "panel.json").stat().st_ino == begun and process.poll() is None:
            time.sleep(0.001)
        assert process.poll() is None, ended(process)
        time.sleep(0.003 * k)
        process.kill()
        ended(process)
        assert names(folder) == ["cames.csv", "notes.txt", "panel.json", "pattern.svg"]
        written = {(folder / name).read_text() for name in names(folder) if name != "notes.txt"}
        assert len(written) == 1
        assert written.pop().isdigit()
        assert (folder / "notes.txt").read_text() == "mine"


def test_results_that_appeared_meanwhile_are_not_replaced(tmp_path: Path) -> None:
    with (
        pytest.raises(OutputNotWritten, match="exists already"),
        whole_folder(tmp_path / "a", OWN) as partial,
    ):
        (partial / "panel.json").write_text("two")
        make_results(tmp_path / "a", "one")
    assert (tmp_path / "a" / "panel.json").read_text() == "one"
    assert names(tmp_path) == ["a"]


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    make_results(tmp_path / "real", "one")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    make_results(tmp_path / "link", "two", overwrite=True)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "panel.json").read_text() == "two"


def test_a_single_file_is_written_whole_and_not_overwritten(tmp_path: Path) -> None:
    write_whole(tmp_path / "t.pdf", b"one")
    with pytest.raises(OutputNotWritten, match="--overwrite"):
        write_whole(tmp_path / "t.pdf", b"two")
    assert contents(tmp_path) == {"t.pdf": b"one"}
    write_whole(tmp_path / "t.pdf", b"two", overwrite=True)
    assert contents(tmp_path) == {"t.pdf": b"two"}


def test_a_single_file_in_no_folder_or_in_place_of_one(tmp_path: Path) -> None:
    with pytest.raises(OutputNotWritten, match="cannot write"):
        write_whole(tmp_path / "missing" / "t.pdf", b"one")
    with pytest.raises(OutputNotWritten, match="is a folder"):
        write_whole(tmp_path, b"one", overwrite=True)
    assert names(tmp_path) == []


OUTWARD = ["../x", "a/../../x", "/x", "", "a//b", ".", "..", "a\\b", "..\\x", "c:x", "c:/x", "a\0b"]


@pytest.mark.parametrize("name", OUTWARD)
def test_no_name_leads_a_file_out_of_its_folder(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "a"
    folder.mkdir()
    with pytest.raises(OutputNotWritten, match="would not lie inside"):
        write_files({name: b"x"}, folder, folder)
    assert names(tmp_path) == ["a"] and names(folder) == []


def test_no_link_leads_a_file_out_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "a" / "link").symlink_to(tmp_path / "out")
    with pytest.raises(OutputNotWritten, match="would not lie inside"):
        write_files({"link/x": b"x"}, tmp_path / "a", tmp_path / "a")
    assert names(tmp_path / "out") == []
    assert inside(tmp_path / "a", "b/c.txt") == tmp_path / "a" / "b" / "c.txt"


_KILLED_BETWEEN_RENAMES = """
import os, signal, sys
from pathlib import Path
from rubbing2pattern import output
rename = Path.rename
def killed_after(self, target):
    rename(self, target)
    os.kill(os.getpid(), signal.SIGKILL)
output._exchanged = lambda one, other: False
OWN = ("panel.json", "pattern*.svg")
with output.whole_folder(Path(sys.argv[1]), OWN, overwrite=True) as partial:
    (partial / "panel.json").write_text("two")
    Path.rename = killed_after
"""


def test_without_a_swap_in_one_step_the_folder_is_replaced_by_two_renames(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(output, "_exchanged", lambda one, other: False)
    make_results(tmp_path / "a", "one")
    (tmp_path / "a" / "notes.txt").write_text("mine")
    make_results(tmp_path / "a", "two", overwrite=True)
    assert names(tmp_path) == ["a"]
    assert names(tmp_path / "a") == ["notes.txt", "panel.json", "pattern-two.svg"]
    assert (tmp_path / "a" / "panel.json").read_text() == "two"


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="the system has no such signal")
def test_killed_between_two_renames_both_folders_lie_whole_beside_the_place(tmp_path: Path) -> None:
    """Where the system cannot swap folders in one step, as `docs/results.md` says."""
    make_results(tmp_path / "a", "one")
    (tmp_path / "a" / "notes.txt").write_text("mine")
    ended(started(tmp_path / "a", code=_KILLED_BETWEEN_RENAMES))
    new, old, lock = names(tmp_path)
    assert new.startswith(".rubbing2pattern-") and (old, lock) == (f"{new}-old", f"{new}.lock")
    assert contents(tmp_path / old)["panel.json"] == b"one"
    assert contents(tmp_path / old)["notes.txt"] == b"mine"
    assert contents(tmp_path / new) == {"panel.json": b"two", "notes.txt": b"mine"}
    make_results(tmp_path / "a", "three")
    assert contents(tmp_path / old)["panel.json"] == b"one"
    assert names(tmp_path) == [new, old, "a"]


_KILLED_AT_EVERY_STEP = """
import json, os, sys
from pathlib import Path
from rubbing2pattern import output
from tests.killing import killed_at
home = Path(sys.argv[1])
os.fsync = lambda handle: None  # A killed process, unlike a power cut, loses no writes.
if sys.argv[2] == "two renames":
    output._exchanged = lambda one, other: False
def work(mark):
    with output.whole_folder(home / "a", ("panel.json", "pattern.svg"), overwrite=True) as partial:
        (partial / "panel.json").write_text(mark)
        (partial / "pattern.svg").write_text(mark)
    output.write_whole(home / "list.csv", mark.encode(), overwrite=True)
def marks():
    return [p.read_text() if p.is_file() else None for p in
            (home / "a" / "panel.json", home / "a" / "pattern.svg", home / "list.csv")]
work("old")
for step in range(1, killed_at(0, home, lambda: work("old")) + 1):
    killed = killed_at(step, home, lambda: work("new")) is None
    left, then = sorted(os.listdir(home)), marks()
    work("old")
    print(json.dumps([killed, left, then, sorted(os.listdir(home)), marks()]))
    for aside in home.glob(".*-old"):
        output.shutil.rmtree(aside)
        output.shutil.rmtree(str(aside).removesuffix("-old"))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="copies the process for each kill")
@pytest.mark.parametrize("way", ["one step", "two renames"])
def test_killed_at_every_step_what_stands_is_whole_and_the_next_run_clears_the_rest(
    tmp_path: Path, way: str
) -> None:
    done = python("-c", _KILLED_AT_EVERY_STEP, tmp_path, way)
    assert done.returncode == 0, done.stderr
    steps = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(steps) > 20 and all(killed for killed, *_ in steps)
    between = [left for _, left, *_ in steps if "a" not in left]
    assert bool(between) == (way == "two renames")
    assert any(len(left) > 2 for _, left, *_ in steps)
    for _, left, (record, pattern, listed), after, marks in steps:
        assert record == pattern and (record in ("old", "new") or left in between)
        assert listed in ("old", "new")
        assert marks == ["old"] * 3
        assert [name for name in after if not name.startswith(".")] == ["a", "list.csv"]
        assert len(after) == (4 if left in between else 2)


def test_a_hidden_folder_is_left_from_a_killed_run_when_nobody_holds_its_lock(
    tmp_path: Path,
) -> None:
    """The numbers of processes prove nothing: they are used again, and differ on each machine."""
    mine, dead = os.getpid(), 2**22 + 1  # Linux gives no number above 2**22, see proc(5).
    for name in (f"{mine}-7", f"{dead}-0", f"{dead}-1", f"{dead}-2"):
        (tmp_path / f".rubbing2pattern-{name}").mkdir()
        (tmp_path / f".rubbing2pattern-{name}" / "panel.json").write_text("half")
    for name in (f"{mine}-7", f"{dead}-0", f"{dead}-1"):
        (tmp_path / f".rubbing2pattern-{name}.lock").touch()
    (tmp_path / ".rubbing2pattern-notes.lock").touch()
    (tmp_path / ".rubbing2pattern-1-0-old").mkdir()
    held = FileLock(tmp_path / f".rubbing2pattern-{dead}-1.lock")
    with held:
        make_results(tmp_path / "a", "one")
        kept = [
            ".rubbing2pattern-1-0-old",
            f".rubbing2pattern-{dead}-1",
            f".rubbing2pattern-{dead}-1.lock",
            f".rubbing2pattern-{dead}-2",
            ".rubbing2pattern-notes.lock",
            "a",
        ]
        assert names(tmp_path) == kept
    write_whole(tmp_path / "b.pdf", b"x")
    assert names(tmp_path) == [k for k in kept if f"{dead}-1" not in k] + ["b.pdf"]


def test_a_run_does_not_clear_what_another_one_is_writing(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "a", OWN) as partial:
        (partial / "panel.json").write_text("one")
        other = "from rubbing2pattern.output import write_whole; from pathlib import Path; "
        done = python("-c", f"{other}write_whole(Path('b.pdf'), b'x')", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        make_results(tmp_path / "c", "two")
    assert contents(tmp_path / "a") == {"panel.json": b"one"}
    assert names(tmp_path) == ["a", "b.pdf", "c"]


@pytest.mark.parametrize("fault", [OSError(37, "No locks available"), OSError(28, "No space left")])
def test_where_the_disk_has_no_locks_results_are_written_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: OSError
) -> None:
    def refused(lock: object) -> None:
        raise fault

    monkeypatch.setattr(FileLock, "_acquire", refused)
    make_results(tmp_path / "a", "one")
    write_whole(tmp_path / "b.pdf", b"x")
    assert names(tmp_path) == ["a", "b.pdf"]
