"""What the program talks about: event kinds, declared things, and the schemas of its tables."""
