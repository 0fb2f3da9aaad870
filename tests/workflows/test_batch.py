"""Many rubbings: each is done once, the broken ones say why, and nothing is lost on the way."""

from __future__ import annotations

import csv
import io
import os
import signal
import subprocess
from pathlib import Path
from urllib.parse import unquote

import html5lib
import pytest

from rubbing2pattern.collection.stamps import Outcome
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten, UsageFault
from rubbing2pattern.inputs import collection_list
from rubbing2pattern.inputs.collection_list import Common, folder_name, read_rows
from rubbing2pattern.inputs.corrections import read_corrections
from rubbing2pattern.inputs.reference import Dpi
from rubbing2pattern.record.panel import read_record
from rubbing2pattern.workflows.batch import Batch, run_batch
from rubbing2pattern.workflows.correct import correct_folder
from tests.readings import read_once
from tests.running import ended, started
from tests.workflows.collecting import DPI, collection, contents, listed, picture


def batch_command(*args: str | Path) -> subprocess.Popen[str]:
    return started("batch", *args)


@pytest.fixture(autouse=True)
def read_only_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let rows done in this process share their readings; processes of their own still read."""
    monkeypatch.setattr("rubbing2pattern.workflows.batch.trace_rubbing", read_once)


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Batch, list[Outcome]]:
    """Do a list with good and broken rows once: the list, its folder, and what came of it."""
    home = tmp_path_factory.mktemp("höhe & tiefe")
    picture(home / "a b.png")
    picture(home / "窓.png", 3, 1)
    (home / "text.jpg").write_text("no picture at all", encoding="utf-8")
    (home / "half.png").write_bytes((home / "a b.png").read_bytes()[:2000])
    rows = [
        {"file": "a b.png", "panel": "n4 3b", "dpi": DPI, "heart": "1.8mm"},
        {"file": "窓.png", "panel": "../窓 1", "dpi": DPI, "seen_from": "inside"},
        {"file": "text.jpg", "dpi": DPI},
        {"file": "half.png", "dpi": DPI},
        {"file": "gone.png", "dpi": DPI},
        {"file": "a b.png", "panel": "N4 3B"},
        {"file": "a b.png", "panel": "small", "dpi": "2"},
        {"file": "a b.png", "panel": "bad option", "dpi": DPI, "set": "lead.paper_grid_mm=-4"},
        {"file": "", "panel": "nothing", "dpi": DPI},
    ]
    place = listed(home / "list.csv", rows)
    heard: list[Outcome] = []
    folder = home / "out"
    done = run_batch(
        read_rows(place), folder, jobs=2, on_row=lambda outcome, k, total: heard.append(outcome)
    )
    return place, folder, done, heard


Broken = tuple[Path, Path, Batch, list[Outcome]]


def test_good_rubbings_are_done_and_broken_ones_say_why(broken: Broken) -> None:
    _, folder, done, heard = broken
    codes = [outcome.stamp.exit_code for outcome in done.outcomes]
    assert codes == [0, 0, 3, 3, 3, 2, 2, 2, 2]
    assert all(bool(o.stamp.reason) == bool(o.stamp.exit_code) for o in done.outcomes)
    assert sorted(o.number for o in heard) == list(range(1, 10))
    assert (done.totals.done, done.totals.failed, done.totals.pieces) == (2, 7, 7)
    for outcome in done.outcomes[:2]:
        record = read_record(folder / "panels" / outcome.name / "panel.json")
        assert record.panel.name == outcome.stamp.panel
    assert read_record(folder / "panels" / "n4 3b" / "panel.json").panel.heart_mm == 1.8


def test_the_table_tells_what_the_records_hold(broken: Broken) -> None:
    _, folder, done, _ = broken
    rows = list(csv.DictReader(io.StringIO((folder / "results.csv").read_text("utf-8"))))
    assert [row["state"] for row in rows] == ["done"] * 2 + ["failed"] * 7
    for row in rows[:2]:
        pieces = read_record(folder / "panels" / row["folder"] / "panel.json").pieces
        assert int(row["pieces"]) == len(pieces)
        area = sum(piece.cut_area_mm2 for piece in pieces)
        assert float(row["glass_mm2"]) == pytest.approx(area, abs=0.06)
        lead = folder / "panels" / row["folder"] / "lead.csv"
        sums = list(csv.DictReader(io.StringIO(lead.read_text("utf-8"))))
        assert float(row["lead_mm"]) == pytest.approx(float(sums[-1]["total_length_mm"]), abs=0.1)
    totals = list(csv.DictReader(io.StringIO((folder / "totals.csv").read_text("utf-8"))))
    glass = sum(float(row["glass_mm2"]) for row in rows[:2])
    assert float(totals[-1]["area_mm2"]) == pytest.approx(glass, abs=0.11)
    lead_mm = sum(float(row["lead_mm"]) for row in rows[:2])
    listed_mm = sum(float(row["length_mm"]) for row in totals if row["what"] == "lead")
    assert listed_mm == pytest.approx(lead_mm, abs=0.3)
    assert listed_mm == pytest.approx(done.totals.lead_mm, abs=0.3)


def test_the_overview_is_whole_and_leads_to_what_there_is(broken: Broken) -> None:
    _, folder, done, _ = broken
    page = (folder / "index.html").read_bytes()
    parser = html5lib.HTMLParser(strict=True)
    tree = parser.parse(page)
    space = "{http://www.w3.org/1999/xhtml}"
    targets = {a.get("href") for a in tree.iter(f"{space}a")}
    targets |= {image.get("src") for image in tree.iter(f"{space}img")}
    assert len(targets) == 4
    assert all((folder / unquote(target)).is_file() for target in targets)
    text = page.decode()
    assert all(outcome.stamp.panel in text for outcome in done.outcomes)
    rows = list(tree.iter(f"{space}tr"))
    assert len([row for row in rows if row.find(f"{space}td") is not None]) >= 9


def test_what_is_done_is_kept_and_not_touched(broken: Broken) -> None:
    place, folder, done, _ = broken
    before = {p: p.stat().st_mtime_ns for p in (folder / "panels").rglob("*")}
    again = run_batch(read_rows(place), folder, resume=True)
    assert {p: p.stat().st_mtime_ns for p in (folder / "panels").rglob("*")} == before
    assert [o.stamp for o in again.outcomes] == [o.stamp for o in done.outcomes]
    assert [o.kept for o in again.outcomes[:5]] == [True] * 5


def test_a_folder_that_stands_is_left_alone_without_resume(broken: Broken) -> None:
    place, folder, _, _ = broken
    before = contents(folder)
    with pytest.raises(OutputNotWritten, match="--resume"):
        run_batch(read_rows(place), folder)
    assert contents(folder) == before


def test_what_is_damaged_changed_or_new_is_done_again_and_what_was_typed_in_stays(
    tmp_path: Path,
) -> None:
    place = collection(tmp_path / "in", 4)
    folder = tmp_path / "out"
    run_batch(read_rows(place), folder)
    before = contents(folder)
    panels = sorted((folder / "panels").iterdir())
    (panels[0] / "pattern.pdf").write_bytes(b"%PDF half")
    (panels[1] / "panel.json").write_text('{"format": "half', encoding="utf-8")
    (folder / "stamps" / f"{panels[2].name}.json").unlink()
    sheet = panels[3] / "pieces.csv"
    sheet.write_text(sheet.read_text("utf-8") + "\n", encoding="utf-8")
    typed = sheet.read_bytes()
    picture(tmp_path / "in" / "late.png", 2, 3)
    text = place.read_text("utf-8") + f"late.png,late,{DPI}\n"
    place.write_text(text, encoding="utf-8")
    again = run_batch(read_rows(place), folder, resume=True)
    assert [o.kept for o in again.outcomes] == [False, False, False, True, False]
    assert sheet.read_bytes() == typed
    now = contents(folder)
    assert all(now[name] == before[name] for name in before if name.startswith("panels")
               and Path(name).parts[1] != panels[3].name)  # fmt: skip


def test_a_panel_that_a_person_corrected_is_kept_and_counted_anew(tmp_path: Path) -> None:
    place = collection(tmp_path / "in", 2)
    folder = tmp_path / "out"
    first = run_batch(read_rows(place), folder)
    panel = folder / "panels" / first.outcomes[1].name
    (tmp_path / "fix.toml").write_text(
        'by = "A. Glazier"\ndate = 2026-11-26\n'
        "[[add_lead]]\nfrom = [20, 0]\nto = [20, 50]\nwidth_mm = 5\n",
        encoding="utf-8",
    )
    correct_folder(panel, read_corrections(tmp_path / "fix.toml"))
    corrected = contents(panel)
    again = run_batch(read_rows(place), folder, resume=True)
    assert contents(panel) == corrected
    assert again.totals.pieces == first.totals.pieces + 1


def test_on_a_cluster_that_loses_a_worker_every_rubbing_is_done_once(tmp_path: Path) -> None:
    from distributed import LocalCluster

    place = collection(tmp_path / "in", 6)
    folder = tmp_path / "out"
    whole = run_batch(read_rows(place), tmp_path / "whole")
    heard: list[int] = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:

        def on_row(outcome: Outcome, done: int, total: int) -> None:
            if not heard:
                os.kill(cluster.workers[0].pid, signal.SIGKILL)
            heard.append(outcome.number)

        done = run_batch(
            read_rows(place), folder, scheduler=cluster.scheduler_address, on_row=on_row
        )
    assert sorted(heard) == list(range(1, 7))
    assert done.totals == whole.totals
    assert contents(folder) == contents(tmp_path / "whole")


def test_two_runs_do_not_share_a_folder(tmp_path: Path) -> None:
    place = collection(tmp_path / "in", 2)
    folder = tmp_path / "out"

    def on_row(outcome: Outcome, done: int, total: int) -> None:
        if done == 1:
            second = batch_command(place, "-o", folder, "--resume")
            out, said = ended(second)
            assert (second.returncode, out) == (6, "")
            assert "another run is writing" in said

    assert run_batch(read_rows(place), folder, on_row=on_row).totals.done == 2


def test_a_link_does_not_lead_the_results_outside(tmp_path: Path) -> None:
    place = collection(tmp_path / "in", 2)
    outside = tmp_path / "outside"
    outside.mkdir()
    folder = tmp_path / "out"
    rows = read_rows(place)
    (folder / "panels").mkdir(parents=True)
    (folder / "batch.json").write_text("{}", encoding="utf-8")
    (folder / "panels" / rows[0].name).symlink_to(outside, target_is_directory=True)
    (folder / "stamps").mkdir()
    (folder / "stamps" / f"{rows[1].name}.json").symlink_to(outside / "stamp.json")
    done = run_batch(rows, folder, resume=True)
    assert [o.stamp.exit_code for o in done.outcomes] == [6, 6]
    assert "is a link" in done.outcomes[0].stamp.reason
    (tmp_path / "second").mkdir()
    (tmp_path / "second" / "batch.json").write_text("{}", encoding="utf-8")
    (tmp_path / "second" / "panels").symlink_to(outside, target_is_directory=True)
    with pytest.raises(OutputNotWritten, match="is a link"):
        run_batch(rows, tmp_path / "second", resume=True)
    (tmp_path / "third").mkdir()
    (tmp_path / "third" / "batch.json").write_text("{}", encoding="utf-8")
    (tmp_path / "third" / "index.html").symlink_to(outside / "index.html")
    with pytest.raises(OutputNotWritten, match="is a link"):
        run_batch(rows, tmp_path / "third", resume=True)
    assert not list(outside.iterdir())


def test_names_of_folders_are_safe_and_all_different() -> None:
    taken: dict[str, int] = {}
    names = []
    for panel in (
        "n4 3b",
        "N4 3B",
        "../../etc",
        "a/b",
        "a\\b",
        "con",
        ".",
        "  ",
        "窓 1",
        "x" * 300,
    ):
        name = folder_name(panel, taken)
        names.append(name)
    assert names[:6] == ["n4 3b", "N4 3B (2)", "_.._etc", "a_b", "a_b (2)", "_con"]
    assert names[6:9] == ["_", "_ (2)", "窓 1"]
    assert len(names[9]) == 80
    assert len({name.casefold() for name in names}) == len(names)
    assert all(Path(name).name == name and name not in (".", "..") for name in names)


def test_a_thousand_rows_of_one_panel_are_named_in_linear_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls: list[str] = []
    folded = collection_list._folded
    monkeypatch.setattr(collection_list, "_folded", lambda n: calls.append(n) or folded(n))
    taken: dict[str, int] = {}
    names = [folder_name("n4 3b", taken) for _ in range(1000)]
    assert len(set(names)) == 1000
    assert names[-1] == "n4 3b (1000)"
    assert len(calls) < 5 * len(names)


def test_job_files_say_the_same_as_a_list(tmp_path: Path) -> None:
    picture(tmp_path / "a.png")
    marks = "0,0,0,0\n100,0,25,0\n0,100,0,25\n100,100,25,25\n"
    (tmp_path / "m.csv").write_text(f"pixel_x,pixel_y,x_mm,y_mm\n{marks}", encoding="utf-8")
    place = listed(
        tmp_path / "list.csv",
        [
            {"file": "a.png", "panel": "n1 1a", "dpi": DPI, "set": "lead.paper_grid_mm=0.8"},
            {"file": "a.png", "panel": "n1 2a", "marks": "m.csv", "seen_from": "outside"},
        ],
    )
    jobs = tmp_path
    (jobs / "1.toml").write_text(
        f'file = "a.png"\npanel = "n1 1a"\ndpi = {DPI}\nset = "lead.paper_grid_mm=0.8"\n',
        encoding="utf-8",
    )
    (jobs / "2.toml").write_text(
        'file = "a.png"\npanel = "n1 2a"\nmarks = "m.csv"\nseen_from = "outside"\n',
        encoding="utf-8",
    )
    assert read_rows(jobs) == read_rows(place)
    assert all(row.fault is None for row in read_rows(place))
    (jobs / "3.toml").write_text('file = "a.png"\ncolour = "red"\n', encoding="utf-8")
    (jobs / "4.toml").write_text("file = \n", encoding="utf-8")
    faults = [row.fault for row in read_rows(jobs)]
    assert faults[:2] == [None, None]
    assert "colour" in str(faults[2])
    assert "4.toml" in str(faults[3])


def test_what_holds_for_all_rows_gives_way_to_the_row(tmp_path: Path) -> None:
    rows = [{"file": "a.png", "dpi": ""}, {"file": "b.png", "dpi": "300"}]
    place = listed(tmp_path / "list.csv", rows)
    first, second = read_rows(place, Common(Dpi(150.0), "inside"))
    assert (first.reference, first.seen_from) == (Dpi(150.0), "inside")
    assert second.reference == Dpi(300.0)


@pytest.mark.parametrize(
    ("text", "fault", "words"),
    [
        ("", UsageFault, "column `file`"),
        ("file\n", UsageFault, "lists no rubbing"),
        ("name,dpi\na.png,150\n", UsageFault, "column `file`"),
        ("file,colour\na.png,red\n", UsageFault, "colour"),
        ("file,dpi,dpi\na.png,1,2\n", UsageFault, "two columns dpi"),
        ("file,dpi\na.png,150,more\n", UsageFault, "line 2"),
        ('file,dpi\n"a.png,150\n', InputUnreadable, "not valid CSV"),
        ("file\n\udcff\n", InputUnreadable, "UTF-8"),
    ],
)
def test_a_list_that_cannot_be_read_is_refused(
    tmp_path: Path, text: str, fault: type[Exception], words: str
) -> None:
    place = tmp_path / "list.csv"
    place.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(fault, match=words):
        read_rows(place)


def test_the_command_tells_what_came_of_it(tmp_path: Path) -> None:
    home = tmp_path / "in put"
    collection(home, 1)
    place = listed(
        home / "list.csv",
        [{"file": "rubbing 0.png", "panel": "n4 3b"}, {"file": "gone.png", "panel": "n4 4b"}],
    )
    process = batch_command(place, "--dpi", DPI, "-o", tmp_path / "out put", "--jobs", "1")
    out, said = ended(process)
    assert process.returncode == 7
    assert "1 done, 1 failed" in out
    assert "row 2, n4 4b (gone.png): cannot open" in out
    assert "index.html" in out
    assert [line.split()[1] for line in said.splitlines()] == ["1/2", "2/2"]
