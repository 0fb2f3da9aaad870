"""From lead lines to openings, outlines, numbers: the geometry behind the pieces of a panel."""
