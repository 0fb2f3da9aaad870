"""From a rubbing of a leaded window to a true-to-scale, numbered re-leading pattern."""

__version__ = "0.1.0"
