"""The workbench of corrections: a net that can be changed, the changes, names and doubts."""
