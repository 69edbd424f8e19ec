"""Reading and writing the event log, version 1; `sample_traces/FORMAT.md` documents it."""

from tracelens.log.reader import read, read_bytes
from tracelens.log.render import render_declarations
from tracelens.log.writer import write

__all__ = ["read", "read_bytes", "render_declarations", "write"]
