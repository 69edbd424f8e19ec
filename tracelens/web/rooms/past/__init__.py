"""The room of a history: what changed from run to run, one measure as a figure, and the runs."""
