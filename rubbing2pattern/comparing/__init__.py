"""The workbench of comparing: two panels laid over each other, and what differs."""
