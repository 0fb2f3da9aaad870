"""The benchmark of hostile inputs: its judge sees what it should, and its chance is repeatable."""

from __future__ import annotations

import json
from random import Random

import pytest

from benchmarks.hostile import fields, judge, mutate, wellformed
from benchmarks.hostile.trial import Ended, Stdout, Trial, Wanted
from rubbing2pattern.record.panel import record_of, record_text
from tests import panels

TRIAL = Trial(("trace", "scan.png"), "one bit", names=("scan.png",))
RECORD = json.loads(record_text(record_of(panels.two_by_two(), {})))


def said(stderr: str, stdout: str = "") -> Ended:
    return Ended(3, stdout, stderr, 0.1)


def test_a_plain_refusal_is_right() -> None:
    ended = said("rubbing2pattern: scan.png is cut off; copy it again\n")
    assert judge.refusal_fault(TRIAL, ended, []) == ""


@pytest.mark.parametrize(
    ("stderr", "fault"),
    [
        ("", "no message"),
        ("libpng error: IDAT\n", "no message"),
        ("libpng error: IDAT\nrubbing2pattern: scan.png is no picture\n", "libpng"),
        ("rubbing2pattern: scan.png: 'NoneType' is not iterable\n", "NoneType"),
        ("rubbing2pattern: scan.png (ValueError)\n", "ValueError"),
        ("rubbing2pattern: scan.png \x1b[2J\n", "in a message"),
        ("rubbing2pattern: scan.png \u202e\n", "in a message"),
        ("rubbing2pattern: it is cut off\n", "names none of scan.png"),
        (f"rubbing2pattern: scan.png {'a' * 2000}\n", "letters"),
        ("rubbing2pattern: scan.png\n1\n2\n", "3 lines"),
    ],
)
def test_a_message_that_helps_nobody_is_seen(stderr: str, fault: str) -> None:
    assert fault in judge.refusal_fault(TRIAL, said(stderr), [])


def test_what_a_refusal_leaves_or_writes_is_seen() -> None:
    right = "rubbing2pattern: scan.png is cut off\n"
    assert "changed: desk/out" in judge.refusal_fault(TRIAL, said(right), ["desk/out"])
    assert "stdout" in judge.refusal_fault(TRIAL, said(right, "panel n4\n"), [])
    whole = Trial(TRIAL.words, "nothing", wanted=Wanted.ACCEPTED)
    assert "what is whole is refused" in judge.refusal_fault(whole, said(right), [])
    full = Trial(TRIAL.words, "a full disk", names=("scan.png",), stdout=Stdout.FULL)
    assert judge.refusal_fault(full, said(right), ["desk/out"]) == ""


def test_a_listing_sees_content_rights_and_links(tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "a").write_text("1", encoding="utf-8")
    before = judge.listing(tmp_path)
    (tmp_path / "b").symlink_to("a")
    assert judge.changed(before, judge.listing(tmp_path)) == ["b"]
    (tmp_path / "b").unlink()
    (tmp_path / "a").write_text("2", encoding="utf-8")
    assert judge.changed(before, judge.listing(tmp_path)) == ["a"]
    (tmp_path / "a").write_text("1", encoding="utf-8")
    assert judge.changed(before, judge.listing(tmp_path)) == []
    (tmp_path / "a").chmod(0o600 if (tmp_path / "a").stat().st_mode & 0o044 else 0o644)
    assert judge.changed(before, judge.listing(tmp_path)) == ["a"]


@pytest.mark.parametrize(
    ("name", "content", "fault"),
    [
        ("a.json", b'{"a": NaN}', "NaN"),
        ("a.json", b'{"a": 1, "a": 2}', "twice"),
        ("a.svg", b"<svg>", "ParseError"),
        ("a.csv", b"a,b\r\n=1+1,2\r\n", "spreadsheet"),
        ("a.html", "<p>\u202e</p>".encode(), "U+202E"),
        ("a.pdf", b"%PDF-1.4 cut", "whole PDF"),
        ("a.png", b"\x89PNG", "identify"),
        ("a.json", b'{"a": 1}', ""),
        ("a.csv", b"a,b\r\n1.5,'=1+1\r\n", ""),
    ],
)
def test_what_is_broken_or_harmful_is_seen(name: str, content: bytes, fault: str) -> None:
    found = wellformed.fault_of(name, content)
    assert (fault in found) if fault else found == ""


def test_a_record_that_contradicts_itself_is_seen() -> None:
    assert wellformed.record_fault("panel.json", fields.as_json(RECORD)) == ""
    for way, value in (
        (("pieces", 0, "cut_area_mm2"), 3.0),
        (("cames", 0, "length_mm"), 3.0),
        (("cames", 0, "start"), "J99"),
        (("joints", 0, "x"), 30.0),
        (("pieces", 0, "number"), 2),
        (("cames", 0, "face_width_mm"), True),
    ):
        spoilt = json.loads(json.dumps(RECORD))
        fields.found(spoilt, way[:-1])[way[-1]] = value
        assert wellformed.record_fault("panel.json", fields.as_json(spoilt)), way


def test_the_same_seed_spoils_in_the_same_way_and_another_in_another() -> None:
    content = bytes(range(256)) * 4

    def spoilt(seed: int) -> list[object]:
        chance = Random(seed)
        rows = [["a", "b"], ["1", "2"]]
        return [
            *(mutate.bytes_spoilt(content, chance) for _ in range(20)),
            *(fields.cell_spoilt(rows, chance) for _ in range(20)),
            *(
                fields.as_json(fields.field_spoilt({"a": [1, {"b": "c"}]}, chance)[0])
                for _ in "abc"
            ),
        ]

    assert spoilt(1) == spoilt(1) != spoilt(2)
    assert all(made != content for made, _ in spoilt(1)[:20])  # type: ignore[misc]


def test_integers_without_end_are_written() -> None:
    assert len(fields.digits(10**4400)) > 4300
    assert fields.as_toml({"a": -(10**4400)}).startswith(b"a = -1000")
