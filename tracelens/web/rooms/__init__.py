"""The rooms beside the page on a run: open a log, two runs, the classroom."""
