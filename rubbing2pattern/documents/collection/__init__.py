"""The overview of a collection: one page, and its tables."""
