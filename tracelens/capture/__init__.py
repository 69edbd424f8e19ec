"""Taking a log from a running target: its channel, what it sends, and the file that it becomes."""
