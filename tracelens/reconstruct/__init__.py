"""From events to what happened: one pass that keeps states, occupants, locks, jobs and ledgers."""

from tracelens.reconstruct.driver import reconstruct

__all__ = ["reconstruct"]
