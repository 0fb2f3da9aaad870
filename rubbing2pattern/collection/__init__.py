"""Many rubbings at once: the list of them, what is remembered of each, and their sums."""
