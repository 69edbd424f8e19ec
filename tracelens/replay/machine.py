"""From a plan to the engine's machine, its run, and the log that it writes."""

from array import array
from dataclasses import replace
from heapq import heapify, heappush
from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl

from tracelens.engine.core_time import ARRIVES, RESUMES, TURNS
from tracelens.engine.draws import TicksOf
from tracelens.engine.listed import Listed, SwitchCosts
from tracelens.engine.loop import run
from tracelens.engine.machine import Machine
from tracelens.engine.state import (
    AT_AWAIT,
    AT_END,
    AT_ITEM,
    AT_UNTIL,
    CEILING,
    INHERIT,
    NEVER,
    NOT_AWAITING,
    ORIGINAL,
    PAUSED,
    PLAIN,
    CoreState,
    HandlerState,
    LockState,
    QueueState,
    TaskState,
)
from tracelens.engine.tables import events
from tracelens.engine.truth import Silent
from tracelens.engine.work import AWAIT, LOCK, NEXT, RECEIVE, SUSPEND, UNTIL
from tracelens.model.events import CODE
from tracelens.model.log import UNUSED, Log
from tracelens.model.system import Clock, Isr, Lock, Queue, System, Task
from tracelens.replay.plan import Plan, Script, Stretch
from tracelens.units import NS_PER_S

HZ: Final = NS_PER_S
_PROTOCOLS: Final = {None: PLAIN, "none": PLAIN, "inherit": INHERIT, "ceiling": CEILING}


def replayed(plan: Plan, name: str = "replay") -> Log:
    """Run a plan from 0 to the end of its record; its log, with times in ns."""
    parts = []
    system = plan.system
    things: tuple[Task | Isr | Lock | Queue, ...] = (
        *system.tasks,
        *system.isrs,
        *system.locks,
        *system.queues,
    )
    tokens = {thing.name: thing.id for thing in things}
    ids = np.array([core.id for core in system.cores], np.uint8)
    for stretch in plan.stretches:
        machine = build(plan, stretch)
        run(machine, stretch.end_ns)
        out = machine.out
        if stretch is not plan.stretches[-1]:
            del out[-EVENT_WIDTH:]  # the mark at the end of a run
        if stretch.lost is not None:
            core, count = stretch.lost
            nobody = plan.things.name("")
            out[:0] = array("q", (stretch.begin_ns, core, CODE["lost"], nobody, -2 - count))
        out.extend(value for event in stretch.beside for value in event)
        table = events(machine, tokens, 1).with_columns(boot=pl.lit(stretch.boot, pl.UInt16))
        parts.append(table.sort("time_ns", maintain_order=True))
    whole = pl.concat(parts).with_columns(
        pl.int_range(1, pl.len() + 1, dtype=pl.UInt32).alias("line")
    )
    whole = whole.with_columns(subject=pl.when(pl.col("event") != "lost").then("subject"))
    whole = whole.with_columns(pl.Series("core", ids[whole["core"].to_numpy()]))
    return Log(
        sources=(name,),
        declared=declared(plan),
        events=whole,
        unused=pl.DataFrame(schema=UNUSED),
        lines=len(whole),
        start_ticks=0,
        restarts=tuple(
            after.begin_ns for before, after in pairwise(plan.stretches) if after.boot > before.boot
        ),
    )


EVENT_WIDTH: Final = 5
"""Numbers that the engine writes for an event."""


def build(plan: Plan, stretch: Stretch) -> Machine:
    """The machine at the begin of a stretch. Its ticks are nanoseconds."""
    system = plan.system
    m = Machine(TicksOf(HZ))
    m.now = stretch.begin_ns
    m.things = plan.things
    m.delay = m.things.name("delay")
    m.edf = system.policy == "edf"
    m.sign = 1 if system.order == "lower_first" else -1
    m.preemptive = plan.preemptive
    m.slice = plan.turns.slice_ns
    m.turns_every = plan.turns.every_ns
    if m.turns_every:
        late = (m.now - plan.turns.first_ns) % m.turns_every
        heappush(m.heap, (m.now + m.turns_every - late, TURNS, 0, 0))
    m.keeps_turn = plan.turns.kept
    m.keeps_raise = plan.turns.raised_to_the_last
    m.sleeps = plan.sleeps
    if plan.usual_cost_ns:
        m.switch = plan.usual_cost_ns
        m.costs = SwitchCosts(
            {(m.things.name(who), how): costs for (who, how), costs in stretch.costs.items()},
            plan.usual_cost_ns,
        )
    m.told = plan.told
    m.truth = Silent(m.cores, m.tasks)
    for index, lock in enumerate(system.locks):
        protocol = ORIGINAL if lock.name in plan.original_ceiling else _PROTOCOLS[lock.protocol]
        if lock.ceiling is None:
            ceiling = _highest(system, stretch, m, index)
        else:
            ceiling = m.sign * lock.ceiling
        m.locks.append(LockState(index, m.things.name(lock.name), protocol, ceiling))
    for queue, items in zip(system.queues, stretch.items, strict=True):
        state = QueueState(m.things.name(queue.name), queue.depth, queue.name in plan.drops)
        state.count = items
        m.queues.append(state)
    for index, (opens, idle) in enumerate(zip(stretch.opens_after, plan.idle, strict=True)):
        core = CoreState(index, -1 if idle is None else m.things.name(idle))
        core.opens_after = opens
        core.since = m.now
        m.cores.append(core)
    for task in system.tasks:
        script = stretch.scripts.get(task.name)
        if script is not None:
            _task(m, script, task.priority, task.deadline_ns)
    for number, runs in enumerate(stretch.handlers):
        work = Listed(runs.times, runs.bodies)
        handler = HandlerState(number, m.things.name(runs.name), work, runs.key, runs.core)
        handler.tells, handler.rotates = runs.tells, runs.rotates
        m.handlers.append(handler)
    heapify(m.heap)
    return m


def _highest(system: System, stretch: Stretch, m: Machine, lock: int) -> int:
    """The key of the most urgent task that ever takes a lock."""
    keys = [
        m.sign * (task.priority or 0)
        for task in system.tasks
        if task.name in stretch.scripts
        and any(op[0] == LOCK and op[1] == lock for op in stretch.scripts[task.name].ops)
    ]
    return min(keys, default=NEVER)


def _task(m: Machine, script: Script, priority: int | None, deadline_ns: int | None) -> None:
    base = NEVER if m.edf else m.sign * (priority or 0)
    task = TaskState(len(m.tasks), m.things.name(script.name), Listed((), ()), base)
    m.tasks.append(task)
    task.scripted = True
    task.deadline = deadline_ns
    task.core = script.core if script.pinned else -1
    task.home = script.core
    task.ops = tuple(script.ops)
    first = len(m.untils)
    m.untils.extend(script.untils)
    if first:
        task.ops = tuple(
            (UNTIL, what + first, time) if code == UNTIL else (code, what, time)
            for code, what, time in task.ops
        )
    if script.at_once or script.released:
        task.announces = script.at_once
        _at_first_wait(m, task)
        return
    task.awaits = AT_END
    task.silent = script.unseen
    if script.activations:
        task.work = Listed(script.activations, ())
        task.arrivals = 1
        heappush(m.heap, (script.activations[0], ARRIVES, task.index, 0))


def _at_first_wait(m: Machine, task: TaskState) -> None:
    """Put a task into the wait that its script begins with."""
    code, what, time = task.ops[0]
    task.state = PAUSED
    task.pc = 1
    if code == UNTIL:
        until = m.untils[what]
        task.awaits = AT_UNTIL
        task.first_word = until.word
        if until.by_tick:
            heappush(m.due, (until.arrival, task.index))
        else:
            heappush(m.heap, (until.arrival, ARRIVES, task.index, 0))
    elif code == AWAIT:
        task.awaits = AT_AWAIT
        task.first_word = what
    elif code == SUSPEND:
        task.first_word = what
        heappush(m.heap, (time, RESUMES, task.index, 0))
    elif code in (NEXT, RECEIVE):
        task.pc = int(code == NEXT)
        task.awaits = AT_ITEM if code == NEXT else NOT_AWAITING
        queue = m.queues[what]
        task.first_word = queue.name
        queue.receivers.append(task)


def declared(plan: Plan) -> System:
    """What the log of a replay declares: the system, with a clock of 1 ns."""
    system = plan.system
    known = {isr.name for isr in system.isrs}
    extra = dict.fromkeys(
        runs.name for part in plan.stretches for runs in part.handlers if runs.name not in known
    )
    gone = {name for part in plan.stretches for name, one in part.scripts.items() if one.removed}
    tasks = tuple(task for task in system.tasks if task.name not in extra.keys() | gone)
    return replace(
        system,
        clocks=(Clock(hz=HZ),),
        tasks=tasks,
        isrs=(*system.isrs, *(Isr(name, name) for name in extra)),
    )
