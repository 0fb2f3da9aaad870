"""Training of the learned lead map, on rubbings that exist only while it trains."""
