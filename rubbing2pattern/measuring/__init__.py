"""Measuring the width of a lead from its profiles."""
