"""The panels under the schedule. To add one: its module, and its line in `registry`."""
