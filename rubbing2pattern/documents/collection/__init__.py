"""The overview of a collection: one page, and its tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rubbing2pattern.collection.stamps import Outcome
from rubbing2pattern.collection.totals import Totals
from rubbing2pattern.documents.collection.page import collection_page
from rubbing2pattern.documents.collection.table import (
    RESULT_COLUMNS,
    SUM_COLUMNS,
    results_csv,
    totals_csv,
)
from rubbing2pattern.documents.document import Document
from rubbing2pattern.options.documents import DocumentOptions


@dataclass(frozen=True, slots=True)
class Collected:
    """What the documents of a collection are made from.

    Attributes
    ----------
    outcomes : one for each rubbing, in the order of the list.
    totals : their sums.
    options : units.
    """

    outcomes: Sequence[Outcome]
    totals: Totals
    options: DocumentOptions


COLLECTION_DOCUMENTS: Final[tuple[Document[Collected], ...]] = (
    Document(
        "index.html",
        "the overview: a small picture of every panel, sizes, sums, findings, and why a rubbing "
        "failed; a heading sorts the rows",
        lambda c: collection_page(c.outcomes, c.totals, c.options),
        page="batch.md",
    ),
    Document(
        "results.csv",
        "how every rubbing of the list went, with size, pieces, glass, lead and findings",
        lambda c: results_csv(c.outcomes, c.options),
        each="rubbing of the list",
        columns=RESULT_COLUMNS,
    ),
    Document(
        "totals.csv",
        "lead of all panels by width and profile, and the glass",
        lambda c: totals_csv(c.totals, c.options),
        each="width and profile of lead, and a last one for the glass",
        columns=SUM_COLUMNS,
    ),
)
