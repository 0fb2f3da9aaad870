"""The command line: the only place that prints, exits and reads the environment."""

from rubbing2pattern.cli.main import entry, main

__all__ = ["entry", "main"]
