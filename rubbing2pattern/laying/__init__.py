"""Lay the leads: runs, curves and joints of a net whose pieces are known."""

from rubbing2pattern.laying.leads import Laying, laying

__all__ = ["Laying", "laying"]
