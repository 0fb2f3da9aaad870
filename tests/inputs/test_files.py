"""Files from outside: plain ones up to their limit are read, and nothing waits at a pipe."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from rubbing2pattern.archiving.bag import faults_of
from rubbing2pattern.collection.stamps import read_stamp, untouched
from rubbing2pattern.documents.kept_rubbing import read_rubbing
from rubbing2pattern.errors import InputUnreadable, RubbingError, UsageFault
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.inputs.about import read_about
from rubbing2pattern.inputs.calipers import parse_calipers
from rubbing2pattern.inputs.collection_list import read_rows
from rubbing2pattern.inputs.corrections import read_corrections
from rubbing2pattern.inputs.files import content_of, stands, text_of
from rubbing2pattern.inputs.reference import read_marks, read_targets
from rubbing2pattern.matching.known import read_known
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.record.panel import read_record
from rubbing2pattern.stages.load import load
from tests.running import refused, run_here

READERS: dict[str, Callable[[Path], object]] = {
    "a picture": lambda path: load(path, LoadOptions()),
    "marks": read_marks,
    "targets": read_targets,
    "known numbers": read_known,
    "calipers": lambda path: parse_calipers([str(path)]),
    "a description": read_about,
    "corrections": read_corrections,
    "a list": read_rows,
    "a record": read_record,
    "a kept rubbing": lambda path: read_rubbing(path, Frame(0.0, 0.0, 1.0, 4, 4)),
}


def test_a_file_is_read_up_to_its_limit(tmp_path: Path) -> None:
    path = tmp_path / "marks.csv"
    path.write_bytes(b"\xef\xbb\xbfa\r\nb\r")
    assert content_of(path, 8) == path.read_bytes()
    assert text_of(path, 8, "a list of marks") == "a\nb\n"
    with pytest.raises(UsageFault, match=r"marks\.csv has 8 bytes .*limit for a list of marks"):
        content_of(path, 7, "a list of marks", fault=UsageFault)
    path.write_bytes(b"ab\xff")
    with pytest.raises(InputUnreadable, match=r"not text in UTF-8 \(byte 2\); save it as UTF-8"):
        text_of(path, 8, "a list of marks")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of this kind are POSIX")
@pytest.mark.parametrize("what", READERS)
def test_nothing_is_read_from_a_pipe(tmp_path: Path, what: str) -> None:
    """Nobody writes into it: a reader that opened it as a file would never come back."""
    path = tmp_path / "in"
    os.mkfifo(path)
    with pytest.raises(RubbingError, match="it is a pipe, not a plain file"):
        READERS[what](path)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no such device")
@pytest.mark.parametrize("what", READERS)
def test_nothing_is_read_from_a_device(what: str) -> None:
    with pytest.raises(RubbingError, match="it is a device, not a plain file"):
        READERS[what](Path("/dev/zero"))


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="sockets of this kind are POSIX")
def test_what_is_no_file_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # The name of a socket is short.
    with socket.socket(socket.AF_UNIX) as one:
        one.bind("s")
        with pytest.raises(InputUnreadable, match="cannot read s: "):
            content_of(Path("s"))
    with pytest.raises(InputUnreadable, match="Is a directory; put the file back"):
        content_of(tmp_path, cure="put the file back")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of this kind are POSIX")
def test_a_pipe_in_a_folder_is_no_document(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "bagit.txt")
    os.mkfifo(tmp_path / "panel.json")
    assert read_stamp(tmp_path / "panel.json") is None
    assert not untouched(tmp_path, {"panel.json": "0"})
    with pytest.raises(InputUnreadable, match=r"bagit\.txt is missing"):
        faults_of(tmp_path)


LONG = "x" * 300


@pytest.mark.parametrize(
    "words",
    [
        ("batch", LONG, "-o", "o"),
        ("verify", LONG),
        ("compare", LONG, "o"),
        ("trace", "a.png", "--dpi", "100", "-o", LONG),
        ("trace", "a.png", "--dpi", "100", "-o", "o", "--caliper", f"C{'1' * 300}=6mm"),
    ],
)
def test_a_name_that_is_too_long_is_wrong_use(tmp_path: Path, words: tuple[str, ...]) -> None:
    place = tmp_path / LONG
    assert not stands(place)
    given = [str(tmp_path / word) if word in {LONG, "o", "a.png"} else word for word in words]
    code, said = (3, "cannot open") if "--caliper" in words else (2, "too long for this system")
    result = run_here(*given)
    refused(result, code, said)
    assert "RUBBING2PATTERN_DEBUG" not in result.stderr
