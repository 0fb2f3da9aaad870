"""Options that older versions had: under another name, or not as options any more.

A record says with which options it was made, by their names at that time. What was renamed is
found here; what is gone is named with the reason.
"""

from __future__ import annotations

from collections.abc import Mapping

RENAMED: Mapping[str, str] = {
    "joining.told_mm": "joining.reported_mm",
    "tidy.told_above": "tidy.reported_above",
    "tidy.told_mm": "tidy.reported_mm",
}
"""Full names as they were, and as they are now; both mean the same in the same unit."""
GONE: Mapping[str, str] = {
    "tidy.none_below": "`tidy.ends_odds` says where a lead ends",
    "tidy.none_leaf": "`tidy.ends_odds` says where a lead ends",
    "laying.stray_look": "it is one of the fitted weights that come with the program",
    "tidy.boundary_look": "it is one of the fitted weights that come with the program",
}
"""Full names as they were, and why they were removed."""
