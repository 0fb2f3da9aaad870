"""The report of a panel: one page for people, with everything in it, to be read and printed.

The page needs nothing else: pictures are part of it, there is no script, and its own rule of
contents forbids a browser to fetch anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from rubbing2pattern.documents.drawing import Drawing, plain_text
from rubbing2pattern.documents.formats.svg import svg_text
from rubbing2pattern.documents.kept_rubbing import KeptRubbing, around_leads
from rubbing2pattern.documents.pages import page_environment
from rubbing2pattern.documents.report import facts, lead_needed as report_lead
from rubbing2pattern.documents.report.histogram import histogram_svg
from rubbing2pattern.documents.report.pictures import Pictures
from rubbing2pattern.documents.report.to_settle import ranks
from rubbing2pattern.documents.report.view import badge
from rubbing2pattern.documents.report.whole_panel import drawing_svg, overlay_svg, traced
from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.findings import Severity
from rubbing2pattern.leading import LeadPlan
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import CAUTIONS

_BYTES_PER_MB = 1e6


def report_html(
    panel: Panel,
    rubbing: KeptRubbing | None,
    provenance: Mapping[str, Any],
    options: DocumentOptions,
    plan: LeadPlan | None = None,
    weights: str = "",
    files: Sequence[tuple[str, str]] = (),
    condition: Drawing | None = None,
) -> bytes:
    """Write the report of a panel as HTML, UTF-8.

    Parameters
    ----------
    panel : as the record gives it back.
    rubbing : what was kept of the picture; None leaves overlay and pictures of places out.
    provenance : the record's.
    options : units, and how many and how large the pictures may be.
    plan : the lead to cut and to buy; None leaves it out.
    weights : what the weights rest on, one sentence or two.
    files : name and purpose of each file of the folder; without any they are not listed.
    condition : the condition drawing, where anything is written about the glass.
    """
    pictures = None if rubbing is None else Pictures(around_leads(rubbing, panel, options))
    lines = traced(panel, options)
    ranked = ranks(panel, pictures, options)
    overlay = "" if pictures is None else overlay_svg(lines, pictures)
    page = (
        page_environment()
        .get_template("report.html.jinja")
        .render(
            panel=panel,
            options=options,
            page_size="A4" if options.units == "mm" else "letter",
            running_head=Markup(_css_string(f"Panel {panel.name}, {side_seen(panel)}")),
            side=side_seen(panel),
            faults=sum(finding.severity is Severity.WRONG for finding in panel.findings),
            ranks=ranked,
            badges={severity: Markup(badge(severity)) for severity in Severity},
            overlay=Markup(overlay),
            drawing=Markup(drawing_svg(lines)),
            condition=Markup("" if condition is None else _inside_page(svg_text(condition))),
            histogram=Markup(histogram_svg(panel, provenance, options)),
            provenance=provenance,
            facts=facts,
            plan=plan,
            weights=weights,
            files=files,
            lead=report_lead,
            cautions=CAUTIONS,
            count_of=count_of,
            length_of=length_of,
            corrected=any(came.corrected.value for came in panel.cames),
            Markup=Markup,
        )
    )
    if pictures is not None:
        page = pictures.filled(page, options.report_limit_mb * _BYTES_PER_MB)
    return page.encode()


def _inside_page(svg: str) -> str:
    """Return a drawing as a part of a page: without its declaration, as wide as the figure."""
    head, _, rest = svg[svg.index("<svg") :].partition(">")
    box = head[head.index("viewBox") :]
    named = 'role="img" aria-label="Condition of the glass" class="panel-figure"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {named} {box}>{rest}'


def side_seen(panel: Panel) -> str:
    """Say from which side the panel is seen."""
    return panel.side or "side of the rubbing not stated"


def _css_string(text: str) -> str:
    """Write a text as a string of CSS, everything but plain letters and figures as escapes."""
    plain = plain_text(text)
    written = (c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):x} " for c in plain)
    return f'"{"".join(written)}"'
