"""Run the command line with ``python -m rubbing2pattern``."""

from rubbing2pattern.cli import entry

entry()
