"""Scale and perspective: edges of the sheet, printed targets, and the joint fit of plane and lens.

Glossary: an *ideal* pixel is where a pinhole without lens would show a place, a *seen* pixel where
the photograph shows it. A *side* is one of the four edges of the sheet, in the order left, top,
right, bottom as the picture shows it.
"""
