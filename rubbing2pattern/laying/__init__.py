"""Lay the leads: runs, curves and joints of a net whose pieces are known."""

from rubbing2pattern.laying.leads import Laying, lay, laying
from rubbing2pattern.laying.maps import LeadMaps

__all__ = ["Laying", "LeadMaps", "lay", "laying"]
