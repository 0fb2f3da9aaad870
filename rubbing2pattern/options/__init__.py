"""One frozen group of options per stage; every threshold in mm with default, range and reason."""
