"""Fitting lines, circles and smooth curves to measured places of lead lines; fitted weights."""
