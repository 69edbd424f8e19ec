"""A second scheduler, written on a general discrete-event library (simpy), for comparison.

It shares no code and no data structure with the engine: each job is a process that alternately
asks for one time unit of the processor; a dispatcher process hands out one unit at a time. That
is slow and obvious. Fixed priorities with plain or inheriting locks, and earliest deadline first.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import simpy


@dataclass
class OtherTask:
    name: str
    priority: int
    releases: list[int]
    program: list[tuple[str, Any]]  # ('run', units), ('lock', name), ('unlock', name)
    deadline: int = 10**9


@dataclass
class OtherJob:
    task: OtherTask
    number: int
    release: int
    order: int
    place: int = 0
    left: int = 0
    waits: str | None = None
    end: int | None = None
    ready_since: tuple[int, int] = (0, 0)
    held: list[str] = field(default_factory=list)


class Other:
    """One processor."""

    def __init__(self, tasks: list[OtherTask], *, inherit: bool, edf: bool = False) -> None:
        self.env = simpy.Environment()
        self.inherit = inherit
        self.edf = edf
        self.jobs: list[OtherJob] = []
        self.queue: dict[str, list[OtherJob]] = {task.name: [] for task in tasks}
        self.owner: dict[str, OtherJob] = {}
        self.running: OtherJob | None = None
        self.count = 0
        self.trace: list[tuple[int, str]] = []
        due = [
            (when, order, number + 1)
            for order, task in enumerate(tasks)
            for number, when in enumerate(task.releases)
        ]
        self.env.process(self._releases(tasks, sorted(due)))
        self.env.process(self._processor())

    def _releases(
        self, tasks: list[OtherTask], due: list[tuple[int, int, int]]
    ) -> Iterator[simpy.Event]:
        """At a quarter past each whole time: after completions, before the next unit."""
        for when, order, number in due:
            if when + 0.25 > self.env.now:
                yield self.env.timeout(when + 0.25 - self.env.now)
            job = OtherJob(tasks[order], number, when, order)
            self.jobs.append(job)
            line = self.queue[job.task.name]
            line.append(job)
            if len(line) == 1:
                self._enter(job)

    def _enter(self, job: OtherJob) -> None:
        self.count += 1
        job.ready_since = (0, self.count)

    def _base(self, job: OtherJob) -> int:
        return job.release + job.task.deadline if self.edf else -job.task.priority

    def _key(self, job: OtherJob) -> int:
        """The smaller, the more urgent; with inheritance, whoever waits for the job counts."""
        key = self._base(job)
        if self.inherit:
            for line in self.queue.values():
                for other in line[:1]:
                    if other.waits is not None and self.owner.get(other.waits) is job:
                        key = min(key, self._key(other))
        return key

    def _processor(self) -> Iterator[simpy.Event]:
        while True:
            yield self.env.timeout(0.5)  # releases of this instant come first
            job = self._choose()
            if job is None:
                self.running = None
                yield self.env.timeout(0.5)
                continue
            self.trace.append((int(self.env.now), job.task.name))
            job.left -= 1
            yield self.env.timeout(0.5)
            if job.left == 0:
                job.place += 1
                self._give(job)

    def _choose(self) -> OtherJob | None:
        """The job that gets the next unit; jobs that want a lock ask for it here."""
        while True:
            ready = [line[0] for line in self.queue.values() if line and line[0].waits is None]
            if not ready:
                return None
            best = min(
                ready,
                key=lambda job: (self._key(job), job is not self.running, job.ready_since),
            )
            if best is not self.running and self.running in ready:
                # A preempted one goes before its equals.
                self.running.ready_since = (-1, -self.count)
                self.count += 1
            self.running = best
            if self._take(best):
                return best

    def _take(self, job: OtherJob) -> bool:
        """True if the job can use a unit now."""
        kind, what = job.task.program[job.place]
        if kind == "run":
            job.left = job.left or what
            return True
        if kind == "lock":
            if what in self.owner:
                job.waits = what
                self.count += 1
                job.ready_since = (0, self.count)
                self.running = None
            else:
                self.owner[what] = job
                job.held.append(what)
                job.place += 1
            return False
        self._give(job)
        return False

    def _give(self, job: OtherJob) -> None:
        """Unlocks, and the end of the job: they come before the releases of this instant."""
        while job.place < len(job.task.program):
            kind, what = job.task.program[job.place]
            if kind != "unlock":
                return
            job.place += 1
            job.held.remove(what)
            waiters = [line[0] for line in self.queue.values() if line and line[0].waits == what]
            if waiters:
                first = min(waiters, key=lambda one: (self._key(one), one.ready_since))
                first.waits = None
                self._enter(first)
            del self.owner[what]
        job.end = int(self.env.now)
        line = self.queue[job.task.name]
        line.pop(0)
        if self.running is job:
            self.running = None
        if line:
            self._enter(line[0])


def finish_times(
    tasks: list[OtherTask], until: int, *, inherit: bool = False, edf: bool = False
) -> dict[tuple[str, int], int]:
    """(task, job) → completion, of the jobs complete before `until`."""
    other = Other(tasks, inherit=inherit, edf=edf)
    other.env.run(until=until)
    return {
        (job.task.name, job.number): job.end
        for job in other.jobs
        if job.end is not None and job.end < until
    }
