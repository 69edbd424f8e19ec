"""A history of runs in a directory: added run by run, read as tables, asked for what changes.

`summary` takes from a run what is kept, `store` keeps it so that many may write at once, `trends`
says what drifts and what changed from one run to the next.
"""
