"""The review page: a folder of results looked at and corrected in a browser on the same machine."""
