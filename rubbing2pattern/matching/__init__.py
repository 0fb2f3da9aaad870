"""The workbench of loose pieces: outlines, how they fit the openings, which belongs where."""
