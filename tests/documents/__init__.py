"""Tests of the documents; what they are measured with is not the package's own."""
