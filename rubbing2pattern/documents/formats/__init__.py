"""Drawings and tables as files: DXF, SVG, PDF, pictures, workbooks, separated values."""
