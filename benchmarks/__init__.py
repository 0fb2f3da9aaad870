"""Measurements of the whole program: how accurate, how fast. Not part of the package."""
