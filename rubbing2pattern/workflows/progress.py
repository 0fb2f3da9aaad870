"""Progress of a run: a protocol, and the silent implementation. The terminal's own lives in cli."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called when a stage starts; implementations must not raise."""

    def stage(self, name: str, number: int, total: int) -> None:
        """Stage `number` of `total` begins."""

    def done(self) -> None:
        """All stages are over."""


class Silent:
    """Says nothing."""

    def stage(self, name: str, number: int, total: int) -> None:
        """Do nothing."""

    def done(self) -> None:
        """Do nothing."""
