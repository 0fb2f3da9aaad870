"""Files and figures that a person gives: read and checked before any work begins."""
