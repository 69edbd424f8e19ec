"""A run as the analysis sees it: the task set that was observed."""

from tracelens.observed.run import Observation, Seen, observe

__all__ = ["Observation", "Seen", "observe"]
