"""The C probe that firmware carries, and the reading of what it records.

`c/` holds the sources as they go into firmware. `frames` reads the stream that the probe sends,
`dump` its memory; both give records, which `lines` turns into lines of an event log.
"""
