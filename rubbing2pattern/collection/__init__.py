"""Many rubbings at once: what is remembered of each, and their sums."""
