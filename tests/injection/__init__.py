"""Faults put into healthy runs, and whether the findings name them.

`python -m tests.injection [RUNS]` prints the figures; seeds are 0, 1, 2, …
"""
