"""The classroom: a small task set, edited in a table and run under several protocols at once."""
