"""The fault of a file whose data prove that it is not whole."""

from __future__ import annotations


class Broken(ValueError):
    """The pixels of a file are not what was saved; its text says what shows it."""
