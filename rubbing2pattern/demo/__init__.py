"""The rubbing that comes with the program, and what is known about it."""

PICTURE = "rubbing.jpg"
PANEL = "n4 3b"
SEEN_FROM = "inside"
SHEET = "381x513mm"
"""Size of the sheet, as it would be given with ``--sheet``."""
