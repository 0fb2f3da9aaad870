"""Which boundaries between basins are lead: evidence along each, and the likeliest partition."""
