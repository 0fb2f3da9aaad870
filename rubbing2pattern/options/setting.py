"""Options given as text: ``tidy.gap_mm=12``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from enum import Enum
from typing import Any

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.options import Options
from rubbing2pattern.options.former import GONE, RENAMED
from rubbing2pattern.trade.stock import StockWidth, parse_stock

SETTABLE: Mapping[str, tuple[str, ...]] = {
    "redraw": ("paper", "documents", "templates"),
    "lists": ("glass", "templates", "leading", "documents"),
    "match": ("load", "rectify", "loose", "match", "fragments", "documents"),
    "compare": ("compare", "documents"),
}
"""The groups that a command takes, where it does not take all."""

_YES = ("yes", "true", "on", "1")
_NO = ("no", "false", "off", "0")


def with_settings(options: Options, settings: Iterable[str]) -> Options:
    """Return the options with some values replaced.

    Parameters
    ----------
    options : what to start from.
    settings : texts ``GROUP.NAME=VALUE``; the value is read as the default is: a number, a word,
        yes or no, or several of them with commas between.

    Raises
    ------
    UsageFault
        For an unknown name, a value that cannot be read or one outside its range. The message
        begins with the setting as given.
    """
    for setting in settings:
        options = _with_setting(options, setting)
    return options


def with_settings_of(
    groups: Sequence[str], options: Options, settings: Iterable[str], what: str
) -> Options:
    """Return the options with values of some groups replaced.

    Parameters
    ----------
    groups : those that may be set where a panel was read already.
    options, settings : as for `with_settings`.
    what : what the groups belong to, ``"the lists"``, for messages.

    Raises
    ------
    UsageFault
        As `with_settings`, and for a setting of another group.
    """
    given = tuple(settings)
    for setting in given:
        if setting.partition(".")[0].strip() not in groups:
            raise UsageFault(
                f"{setting!r} is not an option of {what}, which takes those of "
                f"{', '.join(groups[:-1])} and {groups[-1]}; give others when tracing the rubbing"
            )
    return with_settings(options, given)


def _with_setting(options: Options, setting: str) -> Options:
    name, sign, text = (part.strip() for part in setting.partition("="))
    if not sign:
        raise UsageFault(
            f"{setting!r} is not a setting; write GROUP.NAME=VALUE, or help to list all options"
        )
    known = options.values()
    if name not in known:
        raise UsageFault(f"there is no option {name!r}; {_instead(name, known)}")
    group_name, option_name = name.split(".")
    try:
        given = _read(text, Options().values()[name])
        group = replace(getattr(options, group_name), **{option_name: given})
    except (UsageFault, ValueError) as fault:
        raise UsageFault(f"{setting!r}: {fault}") from fault
    return replace(options, **{group_name: group})


def _instead(name: str, known: Iterable[str]) -> str:
    """Say what there is instead of an option that there is not."""
    if name in RENAMED:
        return f"it is now called {RENAMED[name]!r}"
    if name in GONE:
        return f"{GONE[name]}, and cannot be set"
    return f"the nearest name is {get_close_matches(name, list(known), n=1, cutoff=0.0)[0]!r}"


def _read(text: str, like: Any) -> Any:
    """Read a text as the kind of value that `like` is."""
    match like:
        case bool():
            if text.lower() not in _YES + _NO:
                raise ValueError("write yes or no")
            return text.lower() in _YES
        case Enum():
            return type(like)(text)
        case int() | float():
            return _number(text, type(like))
        case (StockWidth(), *_):
            return parse_stock(text)
        case tuple():
            parts = [part.strip() for part in text.split(",") if part.strip()]
            return tuple(_read(part, like[0]) for part in parts) if like else tuple(parts)
        case None:
            return None if text.lower() in ("", "none") else _number(text, float)
    return text


def _number(text: str, kind: type[int | float]) -> int | float:
    try:
        return kind(text)
    except ValueError:
        what = "a whole number" if kind is int else "a number with a decimal point"
        raise ValueError(f"{text!r} is not {what}") from None
