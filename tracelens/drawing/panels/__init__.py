"""The figures of the panels under the schedule, one module each."""
