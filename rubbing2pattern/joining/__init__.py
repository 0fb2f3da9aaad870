"""Find where two papers of one rubbing were joined out of register, and bring them back into it."""

from rubbing2pattern.joining.rejoin import rejoined

__all__ = ["rejoined"]
