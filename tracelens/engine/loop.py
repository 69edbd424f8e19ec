"""The loop over instants.

At one instant completions and unlocks come first, then releases, then the dispatcher, then what
the dispatched tasks ask for; that repeats until nothing more happens at this instant. Of equal
keys the running task stays.
"""

from heapq import heappop, heappush
from typing import Final

from tracelens.engine.core_time import (
    ARRIVES,
    ENDS,
    REQUESTS,
    RESUMES,
    SLICE,
    SWITCHED,
    TURNS,
    WOKEN,
    end_slice,
    make_ready,
    pause,
    resume,
    start,
    start_idle,
)
from tracelens.engine.dispatch import dispatch
from tracelens.engine.handlers import (
    go_on,
    idle_tick,
    request,
    schedule_request,
    wake_up,
    woken,
)
from tracelens.engine.jobs import release_by_time, schedule_arrival
from tracelens.engine.machine import Machine
from tracelens.engine.state import NEVER, CoreState, TaskState
from tracelens.engine.steps import perform
from tracelens.model.events import CODE

E_ACTIVATE: Final = CODE["activate"]
E_START: Final = CODE["start"]
E_WAIT: Final = CODE["wait"]
E_RELEASE: Final = CODE["release"]
E_SLEEP: Final = CODE["sleep"]
E_MARK: Final = CODE["mark"]
EVENT: Final = 5  # numbers that make an event in `m.out`


def run(m: Machine, until: int, most_events: int | None = None) -> bool:
    """Run [now, until): events at `until` no longer happen, but for a mark at the end.

    False if it was given up because more than `most_events` were due before the end, or as many
    instants without one; `m.now` is where.
    """
    left = NEVER if most_events is None else most_events
    m.truth.begin()
    _start_up(m)
    heap = m.heap
    close = m.truth.close_instant
    while True:
        # An instant: what is in the heap for it, then the tasks, until neither has more.
        while heap and heap[0][0] == m.now:
            entry = heappop(heap)
            _handle(m, entry[1], entry[2], entry[3])
            if not heap or heap[0][0] != m.now:
                _settle(m)
        _nap(m)
        close(m.now)
        if not heap or heap[0][0] >= until:
            break
        left -= 1
        if left < 0 or (most_events is not None and len(m.out) > most_events * EVENT):
            return False
        m.now = heap[0][0]
    m.now = until
    m.truth.finish(until)
    m.emit((until, 0, E_MARK, m.things.name("end_of_run"), -1))
    return True


def _start_up(m: Machine) -> None:
    """Each task that waits for its releases says so first, in no time; then idle begins.

    Without a switching cost the dispatcher starts somebody at 0 anyway.
    """
    if not any(core.idle_name >= 0 for core in m.cores):
        m.emit((m.now, 0, E_MARK, m.things.name("start_of_run"), -1))
    for task in m.tasks:
        if task.announces:
            word = m.delay if task.queue is None else task.queue.name
            word = task.first_word if task.scripted else word
            m.emit((m.now, task.home, E_ACTIVATE, task.name, -1))
            m.emit((m.now, task.home, E_START, task.name, -1))
            m.emit((m.now, task.home, E_WAIT, task.name, word))
        schedule_arrival(m, task)
    for core in m.cores:
        if core.opens_after:  # the record shows when its scheduler started
            core.switching, core.switch_left = True, core.opens_after
            resume(m, core)
        elif m.switch and core.idle_name >= 0:
            start_idle(m, core)
    for handler in m.handlers:
        schedule_request(m, handler)
    heappush(m.heap, (m.now, SLICE, 0, -1))  # so that there is a first instant


def _handle(m: Machine, kind: int, index: int, version: int) -> None:
    if kind == ENDS:
        core = m.cores[index]
        if version == core.version:
            _step_ends(m, core)
    elif kind == ARRIVES:
        task = m.tasks[index]
        _at_core(m, task.home, kind, index)
    elif kind == REQUESTS:
        handler = m.handlers[index]
        schedule_request(m, handler)
        if not idle_tick(m, handler, m.cores[handler.core]):
            _at_core(m, handler.core, kind, index)
    elif kind == RESUMES:
        task = m.tasks[index]
        _at_core(m, task.home if task.core >= 0 else task.last_core, kind, index)
    elif kind == SWITCHED:
        core = m.cores[index]
        if version == core.version:
            _switched(m, core)
    elif kind == WOKEN:
        for deferred, which in woken(m, m.cores[index]):
            _arrive(m, index, deferred, which)
    elif kind == TURNS:
        heappush(m.heap, (m.now + m.turns_every, TURNS, 0, 0))
        for core in m.cores:
            end_slice(m, core)
    elif kind == SLICE and version == m.cores[index].version:
        end_slice(m, m.cores[index])


def _at_core(m: Machine, index: int, kind: int, which: int) -> None:
    """Something that a core's hardware brings about: it wakes the core if it must."""
    core = m.cores[index]
    if core.asleep:
        core.deferred.append((kind, which))
        wake_up(m, core)
    else:
        _arrive(m, index, kind, which)


def _arrive(m: Machine, core: int, kind: int, which: int) -> None:
    if kind == REQUESTS:
        request(m, m.handlers[which])
    elif kind == ARRIVES:
        release_by_time(m, m.tasks[which], core, -1)
    else:
        task = m.tasks[which]
        m.emit((m.now, core, task.back_by, task.name, -1))
        task.back_by = E_RELEASE
        make_ready(m, task)


def _step_ends(m: Machine, core: CoreState) -> None:
    pause(m, core)
    if core.nest:
        go_on(m, core)
    elif core.cur is not None:
        perform(m, core, core.cur, dispatched=False)


def _switched(m: Machine, core: CoreState) -> None:
    """The switch is over: whoever is most urgent by now gets the core."""
    dispatch(m)
    core.switching = False
    if core.cur is not None:
        start(m, core)
    else:
        start_idle(m, core)


def _settle(m: Machine) -> None:
    """Dispatch, and let the running tasks ask for what they need, until all are at work."""
    while True:
        dispatch(m)
        first: TaskState | None = None
        on = m.cores[0]
        for core in m.cores:
            task = core.cur
            if task is None or not core.started or task.left or core.nest:
                continue
            if first is None or task.eff < first.eff:
                first, on = task, core
        if first is None:
            return
        perform(m, on, first, dispatched=True)


def _nap(m: Machine) -> None:
    if not m.sleeps:
        return
    for core in m.cores:
        if core.idle_on and not core.asleep and not core.nest:
            core.asleep = 1
            m.emit((m.now, core.index, E_SLEEP, m.things.name(str(core.index)), -1))
            m.truth.moved_cores.add(core.index)
