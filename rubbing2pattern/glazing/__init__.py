"""The workbench of the glass: what a person writes about each piece, and what follows from it."""
