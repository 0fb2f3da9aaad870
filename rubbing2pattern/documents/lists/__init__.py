"""The lists of the workshop: glass, lead, and the sheet of pieces to fill in."""
