"""Where things lie: pixels and millimetres, lines and curves."""
