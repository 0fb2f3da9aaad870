"""The guide: the pages of `docs/`, which travel with the program and are shown by `help`."""
