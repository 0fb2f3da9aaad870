"""The overview of a collection: one page with a small picture of each panel, to sort and to print.

The page fetches only the small pictures beside it. Its one script sorts the rows, and its
own rule of contents lets no other run.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from urllib.parse import quote

from markupsafe import Markup

from rubbing2pattern.collection.stamps import PANELS, PICTURES, Outcome
from rubbing2pattern.collection.totals import Totals
from rubbing2pattern.documents.pages import page_environment
from rubbing2pattern.documents.wording import (
    count_of,
    glass_of,
    run_of,
    size_of,
    weight_of,
)
from rubbing2pattern.findings import Severity
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import CAUTIONS
from rubbing2pattern.trade.window_numbers import window_number


def collection_page(outcomes: Sequence[Outcome], totals: Totals, options: DocumentOptions) -> bytes:
    """Write the overview as HTML, UTF-8.

    Parameters
    ----------
    outcomes : in the order of the list.
    totals : their sums.
    options : units.
    """
    script = _part("collection.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    page = (
        page_environment()
        .get_template("collection.html.jinja")
        .render(
            rows=[_Shown(outcome, options) for outcome in outcomes],
            totals=totals,
            glass=glass_of(totals.glass_mm2, options),
            lead=run_of(totals.lead_mm, options),
            lead_rows=[
                (
                    part.stock,
                    part.profile,
                    run_of(part.length_mm, options),
                    part.sticks,
                    weight_of(part.lead_kg, options, 2),
                )
                for part in totals.lead
            ],
            kinds=[kind.value for kind in Severity],
            script=Markup(script),
            script_digest=digest,
            style=Markup(_part("report.css") + _part("collection.css")),
            cautions=CAUTIONS,
            count_of=count_of,
        )
    )
    return page.encode()


class _Shown:
    """A row of the page: what is written in it, and what it is sorted by."""

    def __init__(self, outcome: Outcome, options: DocumentOptions) -> None:
        stamp, figures = outcome.stamp, outcome.stamp.figures
        self.number = outcome.number
        self.panel, self.image = stamp.panel, stamp.image
        self.state, self.reason, self.exit_code = stamp.state.value, stamp.reason, stamp.exit_code
        self.order = _order(stamp.panel)
        self.figures = figures
        if figures is None:
            return
        name = quote(outcome.name)
        self.report = f"{PANELS}/{name}/report.html"
        self.picture = f"{PICTURES}/{name}.jpg"
        self.size = size_of(figures.width_mm, figures.height_mm, options)
        self.area = figures.width_mm * figures.height_mm
        self.glass = glass_of(figures.glass_mm2, options)
        self.lead = run_of(figures.lead_mm, options)


def _order(panel: str) -> str:
    """Return what panels are sorted by: by the scheme of numbers where they follow it."""
    number = window_number(panel)
    if number is None:
        return f"9 {panel.casefold()}"
    side, upper, window, row, light = number.order
    return f"{side} {int(upper)} {window:04d} {row:03d} {light}"


def _part(name: str) -> str:
    return files("rubbing2pattern.documents.pages").joinpath(name).read_text(encoding="utf-8")
