"""What a run amounts to: pure functions from the reconstructed tables to the measured ones.

Each takes a `Timeline`, or tables of one, and returns a table of `model.tables.MEASURED`. What a
measure is taken over is decided once, in `cut`: the others know nothing of windows and phases.
"""
