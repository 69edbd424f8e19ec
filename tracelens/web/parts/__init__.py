"""The parts of the page: each has components, callbacks, and functions that need no browser."""
