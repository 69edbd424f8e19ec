"""Task sets as textbooks print them, and schedules as they draw them.

A program is a row of letters and signs, one letter a time unit: `E` executes, `X+` locks X and
`X-` unlocks it. A unit is 1 µs. A schedule is `a0-2 c2-4 …`: who runs in [0, 2), [2, 4), ….
"""

import polars as pl

from tracelens.engine import Simulated, simulate
from tracelens.model.system import Clock, Lock, System, Task
from tracelens.model.taskset import Duration, Kernel, Program, Step, TaskSet

UNIT = 1_000  # ns


def steps(text: str) -> tuple[Step, ...]:
    """`E Q+EE Q-` → run 1, lock Q, run 2, unlock Q. A letter that is not E executes, too."""
    text = text.replace(" ", "")
    found: list[Step] = []
    run = 0
    for place, letter in enumerate(text):
        sign = text[place + 1 : place + 2]
        if letter in "+-" or letter.isdigit():
            continue
        name = letter + (text[place + 1] if sign.isdigit() else "")
        sign = text[place + len(name) : place + len(name) + 1]
        if sign in ("+", "-") and sign:
            if run:
                found.append(execute(run))
                run = 0
            found.append(Step("lock" if sign == "+" else "unlock", name))
        else:
            run += 1
    if run:
        found.append(execute(run))
    return tuple(found)


def execute(units: float) -> Step:
    length = round(units * UNIT)
    return Step("run", time=Duration(length, length))


def one_job_each(
    jobs: dict[str, tuple[int, float, str]],
    protocol: str,
    *,
    deadlines: dict[str, int] | None = None,
) -> TaskSet:
    """Task → (priority, release, program), each with one job, under one lock protocol."""
    programs = {
        name: Program(steps(program), releases_ns=(round(release * UNIT),))
        for name, (_, release, program) in jobs.items()
    }
    users: dict[str, list[int]] = {}
    for name, (priority, _, _) in jobs.items():
        for step in programs[name].body:
            if step.kind == "lock" and step.what:
                users.setdefault(step.what, []).append(priority)
    declared = "ceiling" if protocol == "original_ceiling" else protocol
    system = System(
        clocks=(Clock(1_000_000),),
        order="higher_first",
        tasks=(
            Task("idle", "idle", 0, idle=True),
            *(
                Task(
                    name,
                    name,
                    priority,
                    activation="activate",
                    deadline_ns=UNIT * (deadlines or {}).get(name, 1000),
                )
                for name, (priority, _, _) in jobs.items()
            ),
        ),
        locks=tuple(
            Lock(name, name, declared, max(users[name]) if protocol == "ceiling" else None)
            for name in users
        ),
    )
    original = frozenset(users) if protocol == "original_ceiling" else frozenset()
    return TaskSet(system, programs, original_ceiling=original)


def periodic(
    tasks: list[tuple[float, ...]],
    *,
    policy: str = "fixed",
    names: str = "abcdefghijklmnopqrstuvwxyz",
    cores: int = 1,
    pinned: dict[str, int] | None = None,
    offsets: dict[str, float] | None = None,
    activation: str = "activate",
    **kernel: object,
) -> TaskSet:
    """Rows (period, execution[, deadline]) in order of priority, the most urgent first."""
    declared, programs = [], {}
    for place, row in enumerate(tasks):
        name = names[place]
        period, cost, deadline = row[0], row[1], row[2] if len(row) > 2 else row[0]
        declared.append(
            Task(
                name,
                name,
                None if policy == "edf" else len(tasks) - place,
                period_ns=round(period * UNIT),
                offset_ns=round((offsets or {}).get(name, 0) * UNIT),
                deadline_ns=round(deadline * UNIT),
                activation=activation,
                core=(pinned or {}).get(name),
            )
        )
        programs[name] = Program((execute(cost),))
    idle = [
        Task(f"idle{core}", f"idle{core}", None if policy == "edf" else 0, core=core, idle=True)
        for core in range(cores)
    ]
    system = System(
        clocks=(Clock(1_000_000_000),),
        order="higher_first",
        policy=policy,
        tasks=(*idle, *declared),
    )
    return TaskSet(system, programs, Kernel(**kernel))


def run(taskset: TaskSet, until: float, seed: int = 0) -> Simulated:
    return simulate(taskset, seed=seed, until_ns=round(until * UNIT))


def schedule(done: Simulated, core: int = 0) -> str:
    """Who runs when, from the engine's own record, in the notation of the textbooks."""
    rows = done.truth.occupancy.filter(
        (pl.col("core") == core) & (pl.col("occupant") == "task")
    ).select("who", "start_ns", "end_ns")
    return " ".join(f"{who}{start / UNIT:g}-{end / UNIT:g}" for who, start, end in rows.rows())


def responses(done: Simulated) -> dict[str, float]:
    """Task → response of its first job, of those that are complete."""
    jobs = done.truth.jobs.filter((pl.col("job") == 1) & (pl.col("status") == "complete"))
    return {task: ns / UNIT for task, ns in jobs.select("task", "response_ns").rows()}


def all_responses(done: Simulated, task: str) -> list[float]:
    jobs = done.truth.jobs.filter((pl.col("task") == task) & (pl.col("status") == "complete"))
    return [ns / UNIT for ns in jobs["response_ns"].to_list()]


def low_time(done: Simulated, task: str) -> float:
    """Time from a job's release to its end in which a job of lower base priority ran."""
    rank = {one.name: one.priority or 0 for one in done.declared.tasks}
    job = done.truth.jobs.filter((pl.col("task") == task) & (pl.col("job") == 1)).row(0, named=True)
    total = 0
    rows = done.truth.occupancy.filter(pl.col("occupant") == "task")
    for who, start, end in rows.select("who", "start_ns", "end_ns").rows():
        if rank[who] < rank[task]:
            total += max(0, min(end, job["end_ns"]) - max(start, job["release_ns"]))
    return total / UNIT


def ledger(
    done: Simulated, task: str, job: int = 1
) -> dict[tuple[str, str | None, str | None], float]:
    """A job's ledger, summed by (entry, by, via)."""
    number = done.truth.jobs.filter((pl.col("task") == task) & (pl.col("job") == job))["job_id"]
    rows = done.truth.episodes.filter(pl.col("job_id") == number.item())
    summed: dict[tuple[str, str | None, str | None], float] = {}
    for entry, by, via, start, end in rows.select(
        "entry", "by", "via", "start_ns", "end_ns"
    ).rows():
        summed[entry, by, via] = summed.get((entry, by, via), 0) + (end - start) / UNIT
    return summed


def lock_events(done: Simulated) -> list[tuple[float, str, str, str]]:
    """(time, task, word, lock) of every lock, unlock and wait for a lock, in order."""
    locks = {lock.name for lock in done.declared.locks}
    rows = done.events.select(
        pl.col("time_ns"), pl.col("event", "subject", "value").cast(pl.String)
    ).rows()
    return [
        (time / UNIT, subject, event, value)
        for time, event, subject, value in rows
        if event in ("lock", "unlock", "wait") and value in locks
    ]
