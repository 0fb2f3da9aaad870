"""The archive package: a bag that any reader of RFC 8493 takes, and that tells every change."""

from __future__ import annotations

import hashlib
import io
import json
import logging
import random
import re
import shutil
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import bagit
import jsonschema
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from hypothesis import given, settings, strategies as st
from PIL import Image

from rubbing2pattern.archiving.bag import faults_of, write_bag
from rubbing2pattern.archiving.same_drawing import same_dxf, same_svg
from rubbing2pattern.cli.main import main
from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten, UsageFault
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.inputs.about import ELEMENTS, About, dublin_core, read_about
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.workflows.archive import DRAWINGS, archive_folders, verify_bag
from tests import panels
from tests.damage import damaged, returns_or_refuses
from tests.running import run_here

PICTURE = b"not really a picture, but bytes"
PROVENANCE = {
    "program": {"name": "rubbing2pattern", "version": "0.1.0"},
    "image": {"name": "rubbing.jpg", "sha256": hashlib.sha256(PICTURE).hexdigest()},
    "options": {},
}


def results(place: Path, panel: Panel) -> Path:
    place.mkdir()
    frame = Frame(2.0, -5.0, panel.height_mm + 5.0, 620, 820)
    grey = np.random.default_rng(1).integers(90, 250, (820, 620), dtype=np.uint8)
    held = io.BytesIO()
    Image.fromarray(grey).save(held, "PNG")
    kept = KeptRubbing(frame, grey, held.getvalue())
    write_documents(place, panel, kept, PROVENANCE, DocumentOptions())
    return place


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    panel = replace(panels.two_by_two(), name="n4 3b")
    return results(tmp_path_factory.mktemp("archive") / "in a folder", panel)


@pytest.fixture(scope="module")
def bag(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("archive") / "bag"
    picture = place.parent / "rubbing.jpg"
    picture.write_bytes(PICTURE)
    archive_folders(
        [folder],
        place,
        about=About(title="A window", who="A. Glazier", date="2026-11", rights="free & open"),
        images={"n4 3b": picture},
    )
    return place


def test_the_library_of_the_standard_takes_it(bag: Path) -> None:
    """RFC 8493 by the validator of the bagit library."""
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    read = bagit.Bag(str(bag))
    assert read.validate()
    assert read.info["External-Identifier"] == "n4 3b"


def test_all_is_well_in_a_package_as_it_was_packed(bag: Path) -> None:
    found = verify_bag(bag)
    assert (found.panels, found.faults) == (("n4 3b",), ())


def test_the_picture_is_untouched_and_the_record_follows_its_schema(bag: Path) -> None:
    inside = bag / "data" / "n4 3b"
    assert (inside / "original" / "rubbing.jpg").read_bytes() == PICTURE
    schema = json.loads((inside / "panel.schema.json").read_text(encoding="utf-8"))
    record = json.loads((inside / "panel.json").read_text(encoding="utf-8"))
    jsonschema.validate(record, schema)


def test_the_rubbing_has_its_scale_by_two_other_readers(bag: Path, folder: Path) -> None:
    path = bag / "data" / "n4 3b" / "rubbing.tif"
    with Image.open(folder / "rubbing.png") as png, Image.open(path) as tiff:
        assert np.array_equal(np.asarray(png.convert("L")), np.asarray(tiff))
        assert tiff.info["dpi"] == pytest.approx((50.8, 50.8))
    with tifffile.TiffFile(path) as tiff:
        tags = tiff.pages[0].tags
        across, below = tags["XResolution"].value
        assert (across / below, int(tags["ResolutionUnit"].value)) == (20.0, 3)


def test_the_metadata_are_those_of_the_standard(bag: Path) -> None:
    tree = ElementTree.parse(bag / "data" / "dublin-core.xml")
    said = [(e.tag.partition("}")[2], e.text) for e in tree.getroot()]
    assert {name for name, _ in said} <= set(ELEMENTS)
    assert ("rights", "free & open") in said
    assert ("identifier", "n4 3b") in said


def test_the_page_for_readers_names_every_file(bag: Path) -> None:
    text = (bag / "data" / "README.txt").read_text(encoding="utf-8")
    for path in (bag / "data" / "n4 3b").rglob("*"):
        if path.is_file():
            assert path.relative_to(bag / "data" / "n4 3b").as_posix() in text


@pytest.mark.parametrize("seed", range(40))
def test_one_flipped_byte_anywhere_is_found(bag: Path, tmp_path: Path, seed: int) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    chance = random.Random(seed)
    files = sorted(path for path in copy.rglob("*") if path.is_file())
    tags = [path for path in files if path.parent == copy]
    path = chance.choice(tags if seed % 2 else files)
    content = bytearray(path.read_bytes())
    at = chance.randrange(len(content))
    content[at] ^= 1 << chance.randrange(8)
    path.write_bytes(content)
    assert faults_of(copy), (path.name, at)


def test_a_file_more_or_less_is_found(bag: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    (copy / "data" / "more.txt").write_text("more", encoding="utf-8")
    (copy / "data" / "n4 3b" / "cames.csv").unlink()
    faults = " ".join(verify_bag(copy).faults)
    assert "data/more.txt is not named" in faults
    assert "data/n4 3b/cames.csv is missing" in faults


@pytest.mark.parametrize("name", ["../outside.txt", "/etc/hostname", "data/../../x", "~/x", "a\\b"])
def test_a_manifest_cannot_lead_out_of_the_bag(bag: Path, tmp_path: Path, name: str) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    with (copy / "manifest-sha512.txt").open("a", encoding="utf-8") as file:
        file.write(f"{'0' * 128}  {name}\n")
    assert any("names no file inside the bag" in fault for fault in faults_of(copy))


def test_a_link_in_a_bag_or_in_a_folder_is_refused(bag: Path, folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    (copy / "data" / "link.txt").symlink_to("/etc/hostname")
    assert any("is a link" in fault for fault in faults_of(copy))
    with_link = tmp_path / "linked"
    shutil.copytree(folder, with_link)
    (with_link / "kiln.csv").symlink_to("/etc/hostname")
    with pytest.raises(InputUnreadable, match="is a link"):
        archive_folders([with_link], tmp_path / "bag")
    assert not (tmp_path / "bag").exists()


def test_a_record_that_gives_another_drawing_is_reported(bag: Path, tmp_path: Path) -> None:
    """Sums made new over a changed record: the drawing tells."""
    payload = {
        path.relative_to(bag / "data").as_posix(): path.read_bytes()
        for path in (bag / "data").rglob("*")
        if path.is_file()
    }
    record = json.loads(payload["n4 3b/panel.json"])
    record["panel"]["name"] = "n4 3c"
    payload["n4 3b/panel.json"] = json.dumps(record).encode()
    place = tmp_path / "bag"
    place.mkdir()
    write_bag(place, payload, {})
    faults = verify_bag(place).faults
    assert any("does not give pattern.svg" in fault for fault in faults)


UNREADABLE = [
    ("dublin-core.xml", b"b</dc:title>", b"b\x07</dc:title>", "XML"),
    ("dublin-core.xml", b"</metadata>", b"", "XML"),
    ("dublin-core.xml", b"?>", b"?><!DOCTYPE m [<!ENTITY a 'b'>]>", "DTD"),
    ("dublin-core.xml", b"UTF-8", b"UTF-9", "encoding that no reader knows"),
    ("n4 3b/pattern.svg", b"<svg", b"<svg x='\x1b'", "SVG"),
    ("n4 3b/panel.schema.json", b"{", b"{,", "JSON"),
    ("n4 3b/panel.schema.json", b"{", b'{"x": NaN,', "NaN is no number"),
    ("n4 3b/panel.schema.json", b'"', b'"\xff', "JSON"),
    ("n4 3b/panel.schema.json", b'"', b'"\xff', "no text in UTF-8"),
]


@pytest.mark.parametrize(("name", "good", "bad", "said"), UNREADABLE)
def test_a_file_that_no_reader_takes_is_found_though_its_sum_is_right(
    bag: Path, tmp_path: Path, name: str, good: bytes, bad: bytes, said: str
) -> None:
    payload = {
        path.relative_to(bag / "data").as_posix(): path.read_bytes()
        for path in (bag / "data").rglob("*")
        if path.is_file()
    }
    payload["dublin-core.xml"] = dublin_core(About(title="a b"), ["n4 3b"], ["inside"])
    place = tmp_path / "bag"
    place.mkdir()
    assert good in payload[name]
    payload[name] = payload[name].replace(good, bad, 1)
    write_bag(place, payload, {})
    assert any(f"data/{name} is not" in f and said in f for f in verify_bag(place).faults)


def test_a_name_beside_the_results_is_never_written_raw(folder: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    (copy / "a\x1b\nb.txt").write_text("a note", encoding="utf-8")
    done = archive_folders([copy], tmp_path / "bag")
    assert "n4 3b: a\\x1b\\nb.txt is not one of the program's own files" in done.notes
    assert b"\x1b" not in (tmp_path / "bag" / "data" / "README.txt").read_bytes()


def test_the_names_of_a_hostile_package_are_never_printed_raw(bag: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    (copy / "data" / "a\x1b[2J\nb.json").write_bytes(b"\x1b")
    done = run_here("verify", copy)
    assert done.returncode == 3
    assert "a\\x1b[2J\\nb.json is not" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr


@pytest.mark.parametrize("label", ["payload-oxum", "PAYLOAD-OXUM", "Payload-oxum ", "Payload-Oxum"])
def test_the_size_is_read_whatever_the_case_of_its_label(
    bag: Path, tmp_path: Path, label: str
) -> None:
    """RFC 8493, section 2.2.2: labels are the same in any case."""
    copy = tmp_path / "copy"
    shutil.copytree(bag, copy)
    info = (copy / "bag-info.txt").read_text(encoding="utf-8")
    right = re.sub("Payload-Oxum", label, info)
    for text, wrong in (
        (right, False),
        (re.sub(r"(?m)^(p.*: ).*", r"\g<1>1.1", right, flags=re.I), True),
    ):
        (copy / "bag-info.txt").write_text(text, encoding="utf-8")
        assert any("not as Payload-Oxum says" in f for f in faults_of(copy)) is wrong


@pytest.mark.parametrize(
    "tag", ["bagit.txt", "bag-info.txt", "manifest-sha512.txt", "tagmanifest-sha512.txt"]
)
@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.data())
def test_a_damaged_tag_file_is_a_fault_and_never_a_crash(
    bag: Path, tmp_path_factory: pytest.TempPathFactory, tag: str, data: st.DataObject
) -> None:
    copy = tmp_path_factory.mktemp("bags") / "copy"
    shutil.copytree(bag, copy)
    good = (copy / tag).read_bytes()
    bad = data.draw(damaged(good))
    (copy / tag).write_bytes(bad)
    returns_or_refuses(lambda: verify_bag(copy))
    assert bad == good or faults_of(copy)


def test_a_record_of_the_first_form_is_read(bag: Path, tmp_path: Path) -> None:
    """Version 1 at first had no room for what persons settle, nor for the kept rubbing."""
    inside = bag / "data" / "n4 3b"
    record = json.loads((inside / "panel.json").read_text(encoding="utf-8"))
    for name in ("dismissed", "corrections", "rubbing"):
        del record[name]
    for came in record["cames"]:
        del came["corrected"]
    payload = {f"n4 3b/{kind}": (inside / kind).read_bytes() for kind in DRAWINGS}
    payload["n4 3b/panel.json"] = json.dumps(record).encode()
    place = tmp_path / "bag"
    place.mkdir()
    write_bag(place, payload, {})
    found = verify_bag(place)
    assert (found.panels, found.faults) == (("n4 3b",), ())


def test_a_drawing_of_another_version_may_be_rounded_otherwise(bag: Path) -> None:
    svg, dxf = (
        (bag / "data" / "n4 3b" / f"pattern.{kind}").read_bytes() for kind in ("svg", "dxf")
    )
    for shift, same in ((0.004, True), (0.03, False)):
        assert same_svg(svg, shifted(svg, rb"(?<=points=\")-?[\d.]+", shift)) is same
        assert same_dxf(dxf, shifted(dxf, rb"(?<=\n 10\n)-?[\d.]+", shift)) is same
    assert not same_svg(svg, svg.replace(b"<line", b"<LINE", 1))
    assert not same_dxf(dxf, dxf + b"  0\nLINE\n")


def shifted(content: bytes, place: bytes, by: float) -> bytes:
    """Move the last figure that is found at such a place."""
    found = list(re.finditer(place, content))[-1]
    moved = f"{float(found[0]) + by:.6f}".encode()
    return content[: found.start()] + moved + content[found.end() :]


def test_the_same_folders_give_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        archive_folders([folder], tmp_path / name)
    files = sorted(p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*"))
    assert files == sorted(p.relative_to(tmp_path / "two") for p in (tmp_path / "two").rglob("*"))
    for path in files:
        if (tmp_path / "one" / path).is_file():
            assert (tmp_path / "one" / path).read_bytes() == (tmp_path / "two" / path).read_bytes()


def test_panels_are_packed_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    names = ["n10 1a", "Fenster/Ü: süd", "n2 2a", "n2 1a"]
    folders = [
        results(tmp_path / str(k), replace(panels.two_by_two(), name=name))
        for k, name in enumerate(names)
    ]
    done = archive_folders(folders, tmp_path / "bag")
    assert done.panels == ("n2 1a", "n2 2a", "n10 1a", "Fenster/Ü: süd")
    assert verify_bag(tmp_path / "bag").faults == ()
    assert all(p.resolve().is_relative_to(tmp_path / "bag") for p in (tmp_path / "bag").rglob("*"))
    with pytest.raises(UsageFault, match="one folder"):
        archive_folders([folders[0], folders[0]], tmp_path / "twice")


def test_what_stands_there_is_never_replaced(folder: Path, bag: Path) -> None:
    before = (bag / "bagit.txt").stat()
    with pytest.raises(OutputNotWritten):
        archive_folders([folder], bag)
    assert (bag / "bagit.txt").stat() == before


def test_a_package_as_it_was_packed_is_replaced_when_asked(folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "bag"
    archive_folders([folder], place, about=About(title="before"))
    archive_folders([folder], place, about=About(title="after"), overwrite=True)
    assert "after" in (place / "bag-info.txt").read_text(encoding="utf-8")
    assert verify_bag(place).faults == ()
    (place / "data" / "photo.jpg").write_bytes(b"put there by someone")
    with pytest.raises(OutputNotWritten, match=r"not as it was packed .*photo\.jpg is not named"):
        archive_folders([folder], place, overwrite=True)
    with pytest.raises(OutputNotWritten, match="not a package of this program"):
        archive_folders([folder], folder, overwrite=True)
    assert (folder / "panel.json").is_file()


@pytest.mark.parametrize("name", ["n4 " + "x" * 290, "窓" * 100, "n4/3b", ".."])
def test_every_name_that_a_panel_may_have_can_be_packed(tmp_path: Path, name: str) -> None:
    other = f"{name}y"
    folders = [
        results(tmp_path / str(k), replace(panels.two_by_two(), name=called))
        for k, called in enumerate((name, other))
    ]
    archive_folders(folders, tmp_path / "bag")
    assert set(verify_bag(tmp_path / "bag").panels) == {name, other}
    assert all(len(p.name.encode()) <= 100 for p in (tmp_path / "bag" / "data").iterdir())


def test_a_rubbing_larger_than_the_picture_library_reads_is_packed(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`documents.overlay_limit_mp` goes to 200 megapixels, Pillow refuses above 179."""
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 1000)
    archive_folders([folder], tmp_path / "bag")
    assert verify_bag(tmp_path / "bag").faults == ()


def test_a_package_from_before_the_edge_scale_is_as_it_was_packed(tmp_path: Path) -> None:
    """Its record names no scale, and its drawings have none, not even an empty layer."""
    place = tmp_path / "before"
    place.mkdir()
    options = DocumentOptions(edge_scale=False)
    write_documents(place, replace(panels.two_by_two(), name="n4 3b"), None, PROVENANCE, options)
    assert b"edge-scale" not in (place / "pattern.svg").read_bytes()
    archive_folders([place], tmp_path / "bag")
    assert verify_bag(tmp_path / "bag").faults == ()


def test_strict_means_the_same_as_of_a_rubbing(tmp_path: Path) -> None:
    finding = Finding(Code.FREE_END, Severity.CHECK, "a lead ends freely", (50.0, 50.0), (1,))
    doubtful = replace(panels.two_by_two(), name="n4 3b", findings=(finding,))
    sure = results(tmp_path / "sure", replace(panels.two_by_two(), name="n4 3a", findings=()))
    for k, (places, code) in enumerate(
        (([sure], 0), ([sure, results(tmp_path / "d", doubtful)], 8))
    ):
        bag = str(tmp_path / f"bag {k}")
        words = ["archive", *map(str, places), "-o", bag, "--strict", "--quiet", "--json"]
        assert CliRunner().invoke(main, words, standalone_mode=False).return_value == code
        words = ["verify", bag, "--quiet", "--strict"]
        assert CliRunner().invoke(main, words, standalone_mode=False).return_value == code


def test_a_picture_that_is_another_one_is_refused(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.jpg"
    other.write_bytes(b"another")
    with pytest.raises(UsageFault, match="is not the picture"):
        archive_folders([folder], tmp_path / "bag", images={"n4 3b": other})
    with pytest.raises(UsageFault, match="there are only"):
        archive_folders([folder], tmp_path / "bag", images={"n9": other})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('date = "yesterday"', "not a date"),
        ('date = "2026-02-31"', "not a date"),
        ('date = "2026-13"', "not a date"),
        ('colour = "red"', "the fields are"),
        ("title = ", "not TOML"),
        ("date = 2026", "field 'date'"),
    ],
)
def test_a_wrong_file_about_the_panels_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "about.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises((UsageFault, InputUnreadable), match=said):
        read_about(path)


def test_the_commands(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture, about = tmp_path / "rubbing.jpg", tmp_path / "about.toml"
    picture.write_bytes(PICTURE)
    about.write_text('building = "chapel"\nwho = "A. Glazier"\n', encoding="utf-8")
    bag = tmp_path / "a bag"
    words = ["archive", str(folder), "--about", str(about), "--image", str(picture), "-o", str(bag)]
    with pytest.raises(SystemExit) as ended:
        main.main(args=words)
    assert ended.value.code in (0, None)
    with pytest.raises(SystemExit) as ended:
        main.main(args=["verify", str(bag)])
    assert ended.value.code in (0, None)
    assert "All is well: n4 3b" in capsys.readouterr().out
    (bag / "data" / "README.txt").write_text("x", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main.main(args=["verify", str(bag)])
    assert ended.value.code == 3
    assert "README.txt was changed" in capsys.readouterr().out
