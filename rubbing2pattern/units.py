"""Lengths: reading them, writing them, and the sizes of paper. Nothing else converts.

Inside the program every length is in millimetres. One inch is exactly 25.4 mm (international yard
and pound agreement of 1959; NIST Special Publication 811).
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Final, Literal

from rubbing2pattern.errors import UsageFault

Unit = Literal["mm", "in"]
"""The two units in which documents are written."""

MM_PER_INCH: Final = 25.4
"""Exact since 1959."""
MM2_PER_SQUARE_INCH: Final = MM_PER_INCH * MM_PER_INCH
KG_PER_POUND: Final = 0.45359237
"""Exactly, by the agreement of 1959 as well."""

_UNIT_WORDS: Final[Mapping[str, tuple[float, bool]]] = MappingProxyType(
    {
        **dict.fromkeys(
            ("mm", "millimetre", "millimetres", "millimeter", "millimeters"), (1.0, False)
        ),
        **dict.fromkeys(
            ("cm", "centimetre", "centimetres", "centimeter", "centimeters"), (10.0, False)
        ),
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), (1000.0, False)),
        **dict.fromkeys(("in", "inch", "inches", '"'), (MM_PER_INCH, True)),
        **dict.fromkeys(("ft", "foot", "feet", "'"), (12.0 * MM_PER_INCH, True)),
    }
)  # word -> (millimetres, whether a fraction may be written before it)

_ISO_216_MM: Final = {
    "A0": (841.0, 1189.0),
    "A1": (594.0, 841.0),
    "A2": (420.0, 594.0),
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
}
_INCH_SHEETS_IN: Final = {
    "ANSI A": (8.5, 11.0),
    "ANSI B": (11.0, 17.0),
    "ANSI C": (17.0, 22.0),
    "ANSI D": (22.0, 34.0),
    "ANSI E": (34.0, 44.0),
    "Letter": (8.5, 11.0),
    "Tabloid": (11.0, 17.0),
    "Ledger": (17.0, 11.0),
}

PAPER_MM: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    _ISO_216_MM
    | {name: (w * MM_PER_INCH, h * MM_PER_INCH) for name, (w, h) in _INCH_SHEETS_IN.items()}
)
"""Width and height in mm by name: ISO 216 (A0 to A5), ASME Y14.1 (ANSI A to E), office sheets."""

_LONGEST: Final = 100
"""Characters of a length or a sheet at most; the longest with a meaning has thirty."""
_LENGTH_CURE: Final = 'write it like 600mm, 60 cm, 1.2 m, 23 5/8 in or 12"'
_SHEET_CURE: Final = f"write it like 614x774mm, 24x36in, or one of {', '.join(PAPER_MM)}"

_NUMBER: Final = r"(?:(?:[0-9]+[ -]+)?[0-9]+/[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+)"
_UNIT: Final = "|".join(sorted((re.escape(w) for w in _UNIT_WORDS), key=len, reverse=True))
_SIMPLE: Final = re.compile(rf"({_NUMBER})\s*({_UNIT})?", re.IGNORECASE)
_FEET_INCHES: Final = re.compile(
    rf"([0-9]+)\s*(?:'|ft|foot|feet)[ -]*({_NUMBER})\s*(?:\"|in|inch|inches)", re.IGNORECASE
)


def parse_length(text: str, default_unit: str = "mm") -> float:
    """Read a length and return it in millimetres.

    Parameters
    ----------
    text : for example ``600mm``, ``60 cm``, ``1.2 m``, ``23 5/8 in``, ``12"``, ``2' 3 1/2"``.
    default_unit : the unit of a bare number, any unit this function reads.

    Returns
    -------
    float
        Length [mm], zero or more.

    Raises
    ------
    UsageFault
        The text is not a length. Fractions are read before inches and feet only, and a comma is
        refused, because ``1,200`` means 1200 to one reader and 1.2 to another.

    Examples
    --------
    >>> parse_length("23 5/8 in")
    600.075
    >>> parse_length("60 cm")
    600.0
    """
    plain = _plain(text)
    feet = _FEET_INCHES.fullmatch(plain)
    if feet:
        inches = 12 * Fraction(feet[1]) + _number(feet[2], text)
        return _finite(inches, MM_PER_INCH, text)
    match = _SIMPLE.fullmatch(plain)
    if not match:
        pointed = plain.replace(",", ".")
        form = f": {pointed}" if _SIMPLE.fullmatch(pointed) else ""
        why = f" (use a point, not a comma{form})" if "," in plain else ""
        raise UsageFault(f"cannot read the length {text!r}{why}: {_LENGTH_CURE}")
    unit = (match[2] or default_unit).lower()
    if unit not in _UNIT_WORDS:
        raise UsageFault(f"unknown unit {unit!r} for the length {text!r}: {_LENGTH_CURE}")
    size_mm, takes_fraction = _UNIT_WORDS[unit]
    if "/" in match[1] and not takes_fraction:
        raise UsageFault(
            f"the length {text!r} has a fraction but is in {unit}: "
            "write fractions with inches, as in 23 5/8 in"
        )
    return _finite(_number(match[1], text), size_mm, text)


def parse_sheet(text: str, default_unit: str = "mm") -> tuple[float, float]:
    """Read the size of a sheet and return its width and height in millimetres.

    Parameters
    ----------
    text : two lengths (``614x774mm``, ``24 x 36 in``, ``24" x 36 1/2"``) or the name of a paper
        (`PAPER_MM`), upper or lower case. The unit of the second length serves the first as well.
    default_unit : the unit of bare numbers.

    Raises
    ------
    UsageFault
        Neither two lengths nor the name of a paper, or a side of length 0.

    Examples
    --------
    >>> parse_sheet("A1")
    (594.0, 841.0)
    """
    key = re.sub(r"[\s_-]+", "", text).lower()
    named = {re.sub(r"\s", "", name).lower(): size for name, size in PAPER_MM.items()}
    if key in named:
        return named[key]
    if re.fullmatch(r"[a-e]", key):
        raise UsageFault(f"the sheet {text!r} is ambiguous: write ANSI {key.upper()}, or A4")
    sides = re.split(r"\s*[x×*]\s*", _plain(text), flags=re.IGNORECASE)
    if len(sides) != 2 or not all(sides):
        raise UsageFault(f"cannot read the sheet {text!r}: {_meant(text) or _SHEET_CURE}")
    second = _SIMPLE.fullmatch(sides[1])
    unit = second[2] if second and second[2] else default_unit
    width_mm, height_mm = parse_length(sides[0], unit), parse_length(sides[1], unit)
    if width_mm <= 0.0 or height_mm <= 0.0:
        raise UsageFault(f"the sheet {text!r} has a side that is 0: {_SHEET_CURE}")
    return width_mm, height_mm


def inch_form(sheet: str) -> str:
    """Return the size of a sheet with its numbers taken for inches: ``24x36`` as ``24x36in``."""
    numbers = re.findall(_NUMBER, _plain(sheet))
    return f"{'x'.join(numbers)}in" if len(numbers) == 2 else "24x36in"


def _meant(text: str) -> str:
    """Return the right form of a sheet whose two sides are joined by another sign, or nothing."""
    sides = re.fullmatch(
        rf"({_NUMBER})\s*(?:{_UNIT})?(?:\s*[,;/:+]\s*|\s+|\s*by\s*)({_NUMBER})\s*({_UNIT})?",
        _plain(text),
        re.IGNORECASE,
    )
    return f"write it as {sides[1]}x{sides[2]}{sides[3] or 'mm'}" if sides else ""


def format_length(
    length_mm: float, unit: Unit = "mm", *, decimals: int = 1, denominator: int = 16
) -> str:
    """Write a length with its unit.

    Parameters
    ----------
    length_mm : the length [mm].
    unit : ``mm`` with `decimals` places, or ``in`` with fractions to 1/`denominator`.

    Examples
    --------
    >>> format_length(600.075, "in")
    '23 5/8 in'
    >>> format_length(600.075)
    '600.1 mm'
    """
    if unit == "in":
        return f"{inch_fraction(length_mm, denominator)} in"
    return f"{decimal(length_mm, decimals)} mm"


def place_of(at_mm: tuple[float, float], unit: Unit = "mm") -> str:
    """Write a place in the panel's frame.

    Examples
    --------
    >>> place_of((12.0, 345.6))
    'x 12.0 mm, y 345.6 mm'
    """
    x, y = (format_length(part, unit) for part in at_mm)
    return f"x {x}, y {y}"


def inch_fraction(length_mm: float, denominator: int = 16, *, whole: bool = False) -> str:
    """Write a length in inches as a whole number and a fraction in lowest terms, without unit.

    Parameters
    ----------
    length_mm : the length [mm].
    denominator : 2, 4, 8, 16, 32 or 64; the length is rounded to the nearest, halves upwards.
    whole : always write the whole number; a spreadsheet takes ``0 5/16`` for a number, but
        ``5/16`` for a day in May.
    """
    if denominator not in (2, 4, 8, 16, 32, 64):
        raise UsageFault(f"fractions to 1/{denominator} are not on a rule: use 16 or 32")
    parts = math.floor(abs(length_mm) / MM_PER_INCH * denominator + 0.5)
    sign = "-" if length_mm < 0 and parts else ""
    inches, rest = divmod(parts, denominator)
    if not rest:
        return f"{sign}{inches}"
    fraction = Fraction(rest, denominator)
    text = f"{fraction.numerator}/{fraction.denominator}"
    return f"{sign}{inches} {text}" if inches or whole else f"{sign}{text}"


def in_inches(length_mm: float) -> float:
    """Convert mm to inches."""
    return length_mm / MM_PER_INCH


def in_square_inches(area_mm2: float) -> float:
    """Convert mm² to square inches."""
    return area_mm2 / MM2_PER_SQUARE_INCH


def in_pounds(weight_kg: float) -> float:
    """Convert kg to pounds."""
    return weight_kg / KG_PER_POUND


def in_mass_unit(weight_kg: float, unit: Unit) -> float:
    """Return a weight in kg, or in pounds where lengths are in inches."""
    return weight_kg if unit == "mm" else in_pounds(weight_kg)


def decimal(number: float, places: int) -> str:
    """Write a number with fixed places and never as minus zero."""
    text = f"{number:.{places}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def refuse_long(text: str, what: str, cure: str) -> None:
    """Raise `UsageFault` for a text with more characters than any length or sheet has."""
    if len(text) > _LONGEST:
        raise UsageFault(
            f"cannot read the {what} {text[:20]!r}... of {len(text)} characters; it may have "
            f"{_LONGEST}: {cure}"
        )


def _plain(text: str) -> str:
    """Bring typographic marks to the plain ones: primes, vulgar fractions, odd spaces."""
    refuse_long(text, "length", _LENGTH_CURE)
    spaced = "".join(
        f" {c}" if unicodedata.category(c) == "No" and "FRACTION" in unicodedata.name(c, "") else c
        for c in text
    )
    plain = unicodedata.normalize("NFKC", spaced)
    for mark, ascii_mark in (("\u2044", "/"), ("''", '"'), ("\u2033", '"'), ("\u2032\u2032", '"')):
        plain = plain.replace(mark, ascii_mark)
    plain = re.sub("[\u2032\u2019]", "'", re.sub("[\u201d\u201c]", '"', plain))
    return re.sub(r"\s+", " ", plain).strip()


def _number(text: str, whole_text: str) -> Fraction:
    """Read ``12``, ``1.5``, ``5/8`` or ``23 5/8``."""
    if "/" not in text:
        return Fraction(text)
    *inches, fraction = re.split(r"[ -]+", text)
    above, below = (int(part) for part in fraction.split("/"))
    if below == 0 or (inches and above >= below):
        raise UsageFault(f"the fraction in {whole_text!r} is not proper: {_LENGTH_CURE}")
    return Fraction(above, below) + sum((Fraction(i) for i in inches), Fraction(0))


def _finite(number: Fraction, size_mm: float, text: str) -> float:
    """Multiply exactly, round once; refuse what no sheet and no lead can have."""
    length_mm = number * Fraction(str(size_mm))
    if length_mm > 1_000_000:
        raise UsageFault(f"the length {text!r} is longer than a kilometre: {_LENGTH_CURE}")
    return float(length_mm)
