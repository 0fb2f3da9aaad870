"""Photographs of loose glass from panels of known geometry; it imports nothing of the package."""
