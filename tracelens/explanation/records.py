"""What an explanation is made of. All times are integer ns; moments count from the first event."""

from dataclasses import dataclass

import polars as pl

from tracelens.model.system import Place


@dataclass(frozen=True, slots=True)
class Job:
    """A job, as in a row of `model.tables.JOBS`; `number` counts within its task from 1.

    `length_ns` is end − release, whatever became of the job: the response of a complete one, a
    lower bound of it for an open one. The places are (part, line) of the log.
    """

    job_id: int
    task: str
    number: int
    release_ns: int
    start_ns: int | None
    end_ns: int
    status: str
    inferred: bool
    hidden: int
    deadline_ns: int | None
    late: bool
    release_place: Place | None
    end_place: Place | None

    @property
    def length_ns(self) -> int:
        """End − release."""
        return self.end_ns - self.release_ns

    @property
    def lateness_ns(self) -> int | None:
        """Response − deadline; negative if it was early, None without a deadline."""
        return None if self.deadline_ns is None else self.length_ns - self.deadline_ns

    @property
    def judged(self) -> bool:
        """Whether its length is a response, or a lower bound of one."""
        return self.status in ("complete", "open")


@dataclass(frozen=True, slots=True)
class Row:
    """One entry of a ledger, summed: so much of a job's time went there."""

    entry: str
    by: str | None
    via: str | None
    ns: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """A maximal interval [start_ns, end_ns) in which the job did one thing.

    `doing` is 'backlog', 'waits for lock', 'suspended', 'runs', 'ready' or 'unknown', or 'several'
    where a telling folds `count` stretches into one; `what` is the lock, or what it waits for.
    `rows` is the ledger of the stretch, the largest first.
    """

    start_ns: int
    end_ns: int
    doing: str
    what: str | None
    rows: tuple[Row, ...]
    count: int = 1


@dataclass(frozen=True, slots=True)
class Holder:
    """Who held a lock that was waited for: [took_ns, gave_ns), as far as the log shows.

    `own_ns` is the holder's own execution in all of that time. `complete` is false if the log does
    not show both ends. `waits` are the holder's own waits for other locks meanwhile: the next link
    of the chain.
    """

    task: str | None
    took_ns: int
    gave_ns: int
    own_ns: int
    complete: bool
    waits: tuple["Wait", ...]


@dataclass(frozen=True, slots=True)
class Wait:
    """A time [start_ns, end_ns) in which a lock was in the way of a task.

    `kind` is 'wait', 'spin', 'refused' (`wanted` was free, but `lock` stood in the way: original
    ceiling protocol) or 'push_through' (it did not want the lock, but a lower task was raised by
    it). `got` is false if the wait ended without the lock.
    """

    task: str
    kind: str
    lock: str
    wanted: str
    start_ns: int
    end_ns: int
    got: bool
    holders: tuple[Holder, ...]


@dataclass(frozen=True, slots=True)
class Deadlock:
    """A cycle: tasks[i] waits for locks[i], which the next task owns. It closed at `at_ns`."""

    at_ns: int
    tasks: tuple[str, ...]
    locks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Predecessor:
    """An earlier job of the same task that was not complete when the next was released."""

    job: Job
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Backlog:
    """The jobs of the task that ran into each other, up to the explained one.

    `first` began the chain: it was released when no earlier job was under way. `last` are those
    just before the explained job, without the first; `between` is how many are in neither.
    """

    first: Predecessor
    between: int
    last: tuple[Predecessor, ...]

    @property
    def jobs(self) -> int:
        """How many earlier jobs the chain has."""
        return 1 + self.between + len(self.last)


@dataclass(frozen=True, slots=True)
class Without:
    """What would be left of the response without the given parts of the ledger.

    `parts` are rows of the ledger, pooled where one repair concerns them all (all inversion on
    one lock; `by` is then None). `left_ns` is response − their sum; `early_ns` deadline − left_ns.
    """

    parts: tuple[Row, ...]
    left_ns: int
    early_ns: int


@dataclass(frozen=True, slots=True)
class Shorter:
    """What would have had to be shorter, by arithmetic on the ledger alone.

    `alone` takes each part away by itself, the largest first; `together` the fewest of the largest
    parts that suffice, None if taking all of them away does not.
    """

    alone: tuple[Without, ...]
    together: Without | None


@dataclass(frozen=True, slots=True)
class Repair:
    """A change to try: what `kind` it is, what it concerns, and how much of the ledger that is."""

    kind: str
    subject: str
    ns: int
    text: str


@dataclass(frozen=True, slots=True)
class Growth:
    """One entry of the ledger beside the median job's: `share` of what the larger entries grew."""

    entry: str
    by: str | None
    via: str | None
    ns: int
    usual_ns: int
    share: float


@dataclass(frozen=True, slots=True)
class Usual:
    """The job beside the median one of its task: the nearest-rank median of the judged responses.

    `growths` are ordered by growth, the largest first; `share` is of the sum of all that grew.
    """

    job: Job
    judged: int
    growths: tuple[Growth, ...]


@dataclass(frozen=True, slots=True)
class Story:
    """Late jobs of one task that have one cause: the entry of the ledger that grew most.

    A job whose largest growth is backlog is told with the job that began the backlog;
    `through_backlog` counts those. `worst` is late by most; ties go to the earlier job.
    """

    entry: str
    by: str | None
    via: str | None
    jobs: int
    through_backlog: int
    first: Job
    worst: Job


@dataclass(frozen=True, slots=True)
class Picture:
    """The job as a row of equal columns from release on; each is the entry with most of its time.

    `columns` hold ledger entries, '' after the completion; `deadline` is the column before which
    the deadline lies, None without one. One column is `column_ns` long.
    """

    columns: tuple[str, ...]
    column_ns: float
    deadline: int | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """One job told from release to completion. `rows` add up to `job.length_ns`, exactly.

    `episodes` and `stretches` are whole tables, for a job may have a million of them: columns of
    `EPISODES` without the job's number, and `start_ns`, `end_ns`, `doing` and `what`. `told` is
    the same time in a few stretches. `waits` are the longest; `waits_left_out` counts the others.
    """

    job: Job
    rows: tuple[Row, ...]
    episodes: pl.DataFrame
    stretches: pl.DataFrame
    told: tuple[Stretch, ...]
    picture: Picture
    waits: tuple[Wait, ...]
    waits_left_out: int
    deadlocks: tuple[Deadlock, ...]
    backlog: Backlog | None
    shorter: Shorter | None
    repairs: tuple[Repair, ...]
    usual: Usual | None
    late_jobs: int
    stories: tuple[Story, ...]
