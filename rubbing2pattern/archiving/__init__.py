"""The workbench of the archive package: a bag by RFC 8493, what is said about it, its check."""
