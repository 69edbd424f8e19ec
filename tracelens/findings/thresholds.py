"""From where on something is worth saying: every threshold, each with where it comes from."""

from typing import Final

CORE_LOAD: Final = 0.70
"""Load of a core: leaves less than the margin of 30 % at delivery that NASA GSFC-STD-1000, rule
3.07, table 3.07-1, asks of a processor (as reproduced in the NASA Software Engineering Handbook,
section 9.12). 70 to 80 % is a common warning level in ordinary products, too."""

CORE_LOAD_FULL: Final = 0.90
"""Load of a core from which on it counts as full. Common practice; random task sets break down at
about 88 % on average under rate-monotonic priorities (Lehoczky, Sha and Ding, "The Rate Monotonic
Scheduling Algorithm: Exact Characterization and Average Case Behavior", RTSS 1989; from memory)."""

PEAK_LOAD: Final = 0.99
"""Load over the peak window that leaves the core no time to spare. Common practice."""

RESPONSE_SHARE: Final = 0.80
"""Longest response / deadline of a task that missed none. Common practice."""

HOLD_UP_SHARE: Final = 0.10
"""Share of its deadline that a task is held up by locks, once. Common practice."""

QUEUE_SHARE: Final = 0.80
"""Most items / depth of a queue. Common practice."""

STACK_HEADROOM: Final = 0.20
"""Least free bytes / size of a stack: 20 to 30 % left is what is usually asked for. Common
practice, no authoritative source."""

COVERAGE: Final = 0.99
"""Known core time / core time, below which figures are said to be incomplete. Common practice."""

JOBS_FOR_P99: Final = 100
"""Jobs below which the 99th percentile by nearest rank is the maximum: 99 % of n is more than
n − 1 for every n < 100. Arithmetic."""
