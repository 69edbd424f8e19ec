"""Many runs at once: each log to a few rows, on the cores of this machine or on a cluster."""
