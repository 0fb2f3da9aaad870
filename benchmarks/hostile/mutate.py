"""Bytes and texts spoilt at random."""

from __future__ import annotations

import re
from random import Random

INTERESTING = (b"\0", b"\xff", b"\xff" * 4, b"\x80\0\0\0", b"\x7f\xff\xff\xff", b"\xef\xbb\xbf")
"""Bytes on which readers of binary files stumble."""

NASTY_TEXTS = (
    "",
    " ",
    "\0",
    "a\x07b",
    "\x1b[2J\x1b[31mred",
    "a\nb",
    "a\r\nb",
    "a\tb",
    "\u202egnp.exe",
    "\u2066a\u2069",
    "\ufeffa",
    "\ufffe",
    "\u2028",
    "é" * 40,
    "\U0001f4a5",
    "ﬁ",
    "١٢٣",
    "../../../../tmp/escaped",
    "..",
    ".",
    "/",
    "/etc/hostname",
    "C:\\windows\\x",
    "con",
    "a/b",
    "a\\b",
    "~",
    "$HOME",
    "`id`",
    "; touch escaped",
    "%s%n%x",
    "{0.__class__}",
    "{{7*7}}",
    "<script>alert(1)</script>",
    "]]></x><!--",
    "&amp;&lol;",
    "'; DROP TABLE pieces; --",
    '=HYPERLINK("look","look")',
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "=1+1",
    "\uff1d1+1",
    "a;=1+1",
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "1e999",
    "-1",
    "0",
    "-0.0",
    "1_000",
    "0x10",
    "1e-320",
    "1e308",
    "1,5",
    "1.5.5",
    "9" * 400,
    "9" * 5000,
    "1/0",
    "1 1/0 in",
    "1/4in",
    "12 ft",
    "mm",
    "5mm 5mm",
    "None",
    "null",
    "true",
    "[]",
    "{}",
    "a" * 300,
    "a" * 100_000,
    "(" * 5000,
    "--help",
    "-o",
    "@file",
)
"""Texts that mean something somewhere, or nothing anywhere."""

UNFIT = re.compile(
    "[\0-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufdd0-\ufdef\ufffe\uffff]"
)
"""What no text from a person may hold: characters that XML 1.0 forbids, controls of direction
(Unicode Standard Annex 9), and what is no character."""


def flipped(content: bytes, chance: Random) -> tuple[bytes, str]:
    """Return content with one bit turned over, and where."""
    at = chance.randrange(8 * len(content))
    data = bytearray(content)
    data[at >> 3] ^= 1 << (at & 7)
    return bytes(data), f"bit {at & 7} of byte {at >> 3} turned over"


def cut(content: bytes, chance: Random) -> tuple[bytes, str]:
    """Return content that ends early."""
    at = chance.choice((chance.randrange(len(content)), chance.randrange(min(64, len(content)))))
    return content[:at], f"cut off after byte {at}"


def spliced(content: bytes, chance: Random) -> tuple[bytes, str]:
    """Return content with some bytes taken out, doubled, overwritten or put in."""
    at = chance.randrange(len(content))
    length = min(chance.choice((1, 4, 40, 512)), len(content) - at)
    data = bytearray(content)
    match chance.choice(("taken out", "doubled", "zeroed", "overwritten", "put in", "moved")):
        case "taken out" as what:
            del data[at : at + length]
        case "doubled" as what:
            data[at:at] = data[at : at + length]
        case "zeroed" as what:
            data[at : at + length] = bytes(length)
        case "overwritten" as what:
            data[at : at + length] = chance.randbytes(length)
        case "put in" as what:
            data[at:at] = chance.choice(INTERESTING)
        case what:
            part = data[at : at + length]
            del data[at : at + length]
            there = chance.randrange(len(data) + 1)
            data[there:there] = part
    return bytes(data), f"{length} bytes {what} at byte {at}"


def bytes_spoilt(content: bytes, chance: Random) -> tuple[bytes, str]:
    """Return content spoilt without regard to its meaning; never the same content."""
    while True:
        how = chance.choice((flipped, flipped, cut, spliced, spliced))
        spoilt, damage = how(content, chance)
        if spoilt != content:
            return spoilt, damage


def nasty_text(chance: Random, near: str = "") -> str:
    """Return a text as it should not be; at times one near to the right one."""
    if near and chance.random() < 0.3:
        at = chance.randrange(len(near) + 1)
        put = chance.choice(("\0", "\x07", "\u202e", "\n", " ", "-", "9", "..", "/", ";", '"', "'"))
        return chance.choice((near[:at] + put + near[at:], near[:at], near * 2, near.upper()))
    return chance.choice(NASTY_TEXTS)


def shown(text: object, most: int = 60) -> str:
    """Return a text as it can be shown in a line."""
    try:
        said = ascii(text)
    except ValueError:  # Python writes no integer of more than 4,300 digits.
        return "an integer without end"
    return said if len(said) <= most else f"{said[:most]}... ({len(str(text))} characters)"
