"""Lay the leads: runs, curves and joints of a net whose pieces are known."""

from rubbing2pattern.laying.leads import Laying, lay, laying

__all__ = ["Laying", "lay", "laying"]
