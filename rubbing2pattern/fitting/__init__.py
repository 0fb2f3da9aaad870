"""Fitting lines, arcs and smooth cubics to measured points of lead lines."""
