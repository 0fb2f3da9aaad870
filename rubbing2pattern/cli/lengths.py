"""Lengths and lists of widths as parameters of commands."""

from __future__ import annotations

import click

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.trade.stock import StockWidth, parse_stock
from rubbing2pattern.units import parse_length


def length_mm(ctx: click.Context, param: click.Parameter, text: str | None) -> float | None:
    """Return a length in mm (a bare number is in mm), or fail with the parameter's name."""
    if text is None:
        return None
    try:
        return parse_length(text)
    except UsageFault as fault:
        raise click.BadParameter(str(fault), ctx, param) from fault


def stock(
    ctx: click.Context, param: click.Parameter, text: str | None
) -> tuple[StockWidth, ...] | None:
    """Return a list of stock widths, or fail with the parameter's name."""
    if text is None:
        return None
    try:
        return parse_stock(text)
    except UsageFault as fault:
        raise click.BadParameter(str(fault), ctx, param) from fault
