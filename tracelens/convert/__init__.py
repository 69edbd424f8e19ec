"""Other recordings to and from the event log: text by a mapping, value change dumps, Parquet,
the probe's memory and stream; and logs with clocks of their own made one."""
