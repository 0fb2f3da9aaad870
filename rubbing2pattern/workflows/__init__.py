"""What each command does from beginning to end, without printing."""
