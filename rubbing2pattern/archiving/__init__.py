"""The workbench of the archive package: a bag by RFC 8493, the page for its reader, its check."""
