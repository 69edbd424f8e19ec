"""Two runs on one scale, and beside them what differs."""
