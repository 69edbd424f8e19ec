"""Two groups of runs held against each other: what moved, and whether beyond noise.

`observed` takes from each run what is compared; `comparable` says whether the groups can be
compared; `noise` how much a value varies within a run, `resample` and `judge` whether a difference
is more than that and than what runs differ by anyway; `compare` puts it together.
"""
