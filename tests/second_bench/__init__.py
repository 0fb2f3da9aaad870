"""Photographs of loose glass by the second hand, apart from `tests.loose_glass`."""
