"""Derives each task's jobs from its story, by the table of activations."""

from itertools import zip_longest

from tests.reference.job import Grid, Job, Run, StartUp
from tests.reference.world import Happening, Item, Task, World


def derive(world: World) -> list[Job]:
    """All jobs of all tasks, in order of task name, then release."""
    jobs: list[Job] = []
    for name in sorted(world.tasks):
        task = world.tasks[name]
        if not task.idle:
            jobs += _of_task(world, task)
    return jobs


def mode_of(world: World, task: Task) -> str:
    """How jobs of this task are told apart: marks, activate, queue, or waits."""
    if any(h.kind in ("arrive", "finish") for h in task.story):
        return "marks"
    activation = task.declared.activation
    if activation == "activate":
        return "activate"
    queue = world.queues.get(activation) if activation else None
    if queue and (queue.sends or queue.receives):
        return "queue"
    return "waits"


def _of_task(world: World, task: Task) -> list[Job]:
    mode = mode_of(world, task)
    teller = {"marks": Marks, "activate": Activations, "queue": Items, "waits": Waits}[mode]
    jobs = teller(world, task, None).tell()
    if task.declared.period_ns is not None:
        grid = Grid(
            task.declared, world, sorted(job.release for job in jobs if job.began_by_release)
        )
        jobs = teller(world, task, grid).tell()
    jobs.sort(key=lambda job: job.release)
    for number, job in enumerate(jobs, start=1):
        job.number = number
    if task.declared.period_ns is not None:
        for job in jobs:
            job.nominal = grid.nominal(job.release)
        for job, following in zip_longest(jobs, jobs[1:]):
            _count_hidden(job, following, grid)
    return jobs


def _count_hidden(job: Job, following: Job | None, grid: Grid) -> None:
    """Nominal releases inside the job that no job of their own was found for."""
    if job.nominal is None:
        return
    assert job.end is not None
    limit = job.end
    if following and following.nominal is not None:
        limit = min(limit, following.nominal)
    job.hidden = grid.between(job.nominal, limit)


class Teller:
    """Reads one task's story from front to back; `open` are its jobs under way, oldest first."""

    def __init__(self, world: World, task: Task, grid: Grid | None) -> None:
        self.world = world
        self.task = task
        self.grid = grid
        self.jobs: list[Job] = []
        self.open: list[Job] = []
        self.start_up: StartUp | None = None  # of the activation under way
        self.queued: list[StartUp] = []  # of those that wait for it to terminate
        self.runs: list[Run] = []  # where it runs; the last may go on
        self.at = 0  # place in the story
        self.last_end = 0
        self.last_end_place = 0

    def tell(self) -> list[Job]:
        for place, happening in enumerate(self.task.story):
            self.at = place
            if happening.kind in ("wait", "terminate", "suspend", "gap", "boot", "stops"):
                self.on_stops(happening)
            getattr(self, f"on_{happening.kind}")(happening)
            if self.runs and self.runs[-1].until is None:
                self.starts(happening.time)
        for job in self.open:
            job.end, job.open = self.world.span, True
        return self.jobs

    def begin(self, release: int, line: int, **details: object) -> Job:
        job = Job(self.task.name, release, line, **details)
        self.jobs.append(job)
        self.open.append(job)
        return job

    def end(self, job: Job, time: int) -> None:
        job.end = time
        self.open.remove(job)
        self.last_end, self.last_end_place = time, self.at

    def on_runs(self, h: Happening) -> None:
        self.runs.append(Run(h.time))

    def on_stops(self, h: Happening) -> None:
        if self.runs and self.runs[-1].until is None:
            self.runs[-1].until = self.at

    def starts(self, time: int) -> None:
        """It runs: the oldest job has started, if it had not yet."""
        if self.open and self.open[0].first_start is None:
            self.open[0].first_start = time

    def begin_late(self, release: int, line: int, place: int, **details: object) -> Job:
        """A job of which the log says only now that it began at `release`, a place in the story."""
        job = self.begin(release, line, **details)
        if self.open[0] is job:
            for run in reversed(self.runs):
                if run.until is not None and run.until <= max(place, self.last_end_place):
                    break
                job.first_start = max(run.start, release, self.last_end)
        return job

    def end_doubtful(self, time: int, place: int) -> None:
        """A new job shows that those caught in unknown time are over."""
        for job in [job for job in self.open if job.excluded]:
            self.end(job, max(time, job.release))
            self.last_end_place = place

    # What holds of every activation:

    def on_seen(self, h: Happening) -> None:
        """Seen running out of the unknown: in the middle of a job that cannot be judged."""
        if not self.open:
            self.begin(h.time, h.line, excluded=True, seen_midway=True)

    def on_gap(self, h: Happening) -> None:
        for job in self.open:
            job.excluded = True
        self.start_up, self.queued = None, []

    def on_boot(self, h: Happening) -> None:
        for job in list(self.open):
            job.excluded = True
            self.end(job, h.time)
        self.start_up, self.queued = None, []

    def on_suspend(self, h: Happening) -> None:
        if h.comes_back:
            return
        for job in list(self.open):
            job.aborted = True
            self.end(job, h.time)
        self.start_up, self.queued = None, []

    def on_activate(self, h: Happening) -> None:
        if h.was_unknown:  # it had ended before
            for job in list(self.open):
                self.end(job, h.time)
        start_up = StartUp(h.time, h.line, self.at)
        if h.queued:
            self.queued.append(start_up)
        else:
            self.start_up = start_up

    def on_terminate(self, h: Happening) -> None:
        if self.open:
            self.end(self.open[0], h.time)
        else:
            self.start_up_was_a_job(h)
        self.start_up = self.queued.pop(0) if self.queued else None

    def start_up_was_a_job(self, h: Happening) -> None:
        """It ends in `terminate` without a wait."""
        start_up = self.start_up
        if start_up and not start_up.waited:
            self.end(self.begin_late(start_up.time, start_up.line, start_up.place), h.time)

    def first_wait(self) -> None:
        """The start-up ends at the first wait."""
        if self.start_up:
            self.start_up.waited = True

    def on_release(self, h: Happening) -> None: ...
    def on_wait(self, h: Happening) -> None: ...
    def on_start_again(self, h: Happening) -> None: ...
    def on_arrive(self, h: Happening) -> None: ...
    def on_finish(self, h: Happening) -> None: ...
    def on_sent(self, h: Happening) -> None: ...
    def on_received(self, h: Happening) -> None: ...
    def on_emptied(self, h: Happening) -> None: ...
    def on_doubt(self, h: Happening) -> None: ...


class Waits(Teller):
    """`activation=delay`, that of a thing that is not a queue with items, or none given."""

    def on_release(self, h: Happening) -> None:
        given = self.task.declared.activation
        begins = (not h.is_lock if given is None else h.what == given) if h.seen else given is None
        if begins:
            for job in list(self.open):
                self.end(job, h.time)
            self.begin(h.time, h.line, inferred=h.implied, began_by_release=True)

    def on_wait(self, h: Happening) -> None:
        if h.is_lock:
            return
        self.first_wait()
        given = self.task.declared.activation
        if given is None or h.what == given:
            for job in list(self.open):
                self.end(job, h.time)

    def on_start_again(self, h: Happening) -> None:
        """Late without sleeping: the job ended here, and the next, already due, began."""
        if self.grid is None or not self.open:
            return
        job = self.open[0]
        nominal = self.grid.nominal(job.release)
        if nominal is None or job.excluded:  # which job it is cannot be told
            return
        due = nominal + self.grid.period
        if h.time > due:
            job.inferred = True
            self.end(job, h.time)
            self.begin(due, h.line, inferred=True)


class Activations(Teller):
    """`activation=activate`: each activation is a job, each terminate ends the oldest."""

    def on_activate(self, h: Happening) -> None:
        if not h.queued:  # it was suspended, or not known: earlier jobs ended unseen
            for job in list(self.open):
                job.excluded = True
                self.end(job, h.time)
        # Only its start tells that it was activated: since when is not known.
        self.begin(
            h.time, h.line, excluded=not h.seen, seen_midway=not h.seen, began_by_release=True
        )

    def on_suspend(self, h: Happening) -> None:
        for job in list(self.open):
            job.aborted = True
            self.end(job, h.time)


class Items(Teller):
    """Activation by the items of a queue: a job from its `send` to the receive after its own."""

    def __init__(self, world: World, task: Task, grid: Grid | None) -> None:
        super().__init__(world, task, grid)
        self.queue = task.declared.activation
        self.current: Job | None = None
        self.sent: dict[Item, int] = {}  # where in the story each item was sent
        self.alone = not any(
            h.what == self.queue and h.kind == "received"
            for other in world.tasks.values()
            if other is not task
            for h in other.story
        ) and not any(
            other.declared.activation == self.queue
            for other in world.tasks.values()
            if other is not task
        )

    def begin(self, release: int, line: int, **details: object) -> Job:
        if self.start_up:
            self.start_up.waited = True  # it has a job of its own: no start-up any more
        return super().begin(release, line, **details)

    def end(self, job: Job, time: int) -> None:
        super().end(job, time)
        if job is self.current:
            self.current = None

    def on_seen(self, h: Happening) -> None:
        if not self.open:
            super().on_seen(h)
            self.current = self.open[-1]

    def on_sent(self, h: Happening) -> None:
        assert h.item
        self.sent[h.item] = self.at
        if h.what == self.queue and self.alone:
            self.begin(h.time, h.line, item=h.item, excluded=h.item.doubtful, began_by_release=True)

    def on_received(self, h: Happening) -> None:
        if h.what != self.queue:
            return
        if self.current:
            self.end(self.current, h.time)
        if h.item is None:
            self.current = self.begin(h.time, h.line, excluded=True, seen_midway=True)
        elif self.alone:
            own = [job for job in self.open if job.item is h.item]
            self.current = own[0] if own else self.begin(h.time, h.line, excluded=True)
        else:
            self.current = self.begin_late(
                h.item.sent,
                h.item.line,
                self.sent[h.item],
                item=h.item,
                excluded=h.item.doubtful,
                began_by_release=True,
            )

    def on_wait(self, h: Happening) -> None:
        if h.is_lock:
            return
        self.first_wait()
        if h.what == self.queue and self.current:
            self.end(self.current, h.time)

    def on_emptied(self, h: Happening) -> None:
        """The queue is proven empty: what was pending has been taken out unseen."""
        if h.what == self.queue:
            for job in [job for job in self.open if job is not self.current]:
                job.excluded = True
                self.end(job, h.time)

    def on_doubt(self, h: Happening) -> None:
        if h.what == self.queue:
            for job in self.open:
                if job is not self.current:
                    job.excluded = True

    def on_terminate(self, h: Happening) -> None:
        if self.current:
            self.end(self.current, h.time)
        else:
            self.start_up_was_a_job(h)
        self.start_up = self.queued.pop(0) if self.queued else None


class Marks(Teller):
    """Jobs that the firmware bounds itself with `arrive` and `finish`."""

    def __init__(self, world: World, task: Task, grid: Grid | None) -> None:
        super().__init__(world, task, grid)
        self.first_release: tuple[int, int] | None = None  # time, and place in the story

    def on_activate(self, h: Happening) -> None:
        """Marks say what a job is; an activation does not."""

    def on_gap(self, h: Happening) -> None:
        super().on_gap(h)
        self.first_release = None  # a finish may be among what was lost

    def on_release(self, h: Happening) -> None:
        if self.first_release is None:
            self.first_release = h.time, self.at

    def on_arrive(self, h: Happening) -> None:
        release, place = h.time, self.at
        if h.own and self.first_release is not None:
            release, place = self.first_release
        self.first_release = None  # taken
        self.end_doubtful(release, place)
        self.begin_late(release, h.line, place, began_by_release=True, marked=h.what)

    def on_finish(self, h: Happening) -> None:
        self.first_release = None
        if h.what and any(job.marked == h.what for job in self.open):
            while self.open[0].marked != h.what:  # the finish of this one is missing
                self.open[0].excluded = True
                self.end(self.open[0], h.time)
        if self.open:
            self.end(self.open[0], h.time)
