"""Interrupt handlers, the tick, and waking up."""

from heapq import heappop, heappush
from typing import Final

from tracelens.engine.core_time import REQUESTS, WOKEN, end_slice, pause, resume
from tracelens.engine.jobs import activate, release_by_time
from tracelens.engine.machine import Machine
from tracelens.engine.queues import drop, send
from tracelens.engine.releases import release_awaited, tell
from tracelens.engine.state import CoreState, HandlerState
from tracelens.engine.work import ACTIVATE, MARK, RELEASE, RELEASE_DUE, RUN, SEND, TELL
from tracelens.model.events import CODE

E_ENTER: Final = CODE["enter"]
E_LEAVE: Final = CODE["leave"]
E_PEND: Final = CODE["pend"]
E_MARK: Final = CODE["mark"]
E_WAKE: Final = CODE["wake"]


def wake_up(m: Machine, core: CoreState) -> None:
    """Begin to wake a sleeping core."""
    if core.asleep == 1:
        core.asleep = 2
        heappush(m.heap, (m.now + m.wake, WOKEN, core.index, 0))


def woken(m: Machine, core: CoreState) -> list[tuple[int, int]]:
    """The core is back; returns what came while it slept, as (kind, index), in order."""
    core.asleep = 0
    m.emit((m.now, core.index, E_WAKE, m.things.name(str(core.index)), -1))
    m.truth.moved_cores.add(core.index)
    deferred, core.deferred = core.deferred, []
    return deferred


def schedule_request(m: Machine, handler: HandlerState) -> None:
    """Put the handler's next request into the heap, if there is one."""
    if handler.work.timed:
        arrival = handler.work.arrival(handler.requests)
        if arrival is not None:
            handler.requests += 1
            heappush(m.heap, (max(arrival, m.now), REQUESTS, handler.index, 0))


def idle_tick(m: Machine, handler: HandlerState, core: CoreState) -> bool:
    """True if this is a tick that a sleeping core can leave out: nothing is due."""
    return handler is m.tick_handler and core.asleep == 1 and not (m.due and m.due[0][0] <= m.now)


def request(m: Machine, handler: HandlerState) -> None:
    """The interrupt is requested: enter at once, or remember it; a second request is lost."""
    core = m.cores[handler.core]
    if handler.tells:
        m.emit((m.now, core.index, E_PEND, handler.name, -1))
    if handler.waiting:
        handler.lost += 1
        handler.runs += handler.work.per_request
        return
    handler.pend_at = m.now
    if core.nest and core.nest[-1].key <= handler.key:
        handler.waiting = True
        core.requested.append(handler)
    else:
        _enter(m, core, handler)


def _enter(m: Machine, core: CoreState, handler: HandlerState) -> None:
    pause(m, core)
    core.nest.append(handler)
    m.emit((m.now, core.index, E_ENTER, handler.name, -1))
    handler.entered = m.now
    handler.entered_for = handler.pend_at
    handler.ops = handler.work.body(handler.runs)
    handler.runs += 1
    handler.pc = handler.left = handler.own = 0
    m.truth.moved_cores.add(core.index)
    go_on(m, core)


def go_on(m: Machine, core: CoreState) -> None:
    """Perform the innermost handler's operations up to the next that takes time, or its end."""
    handler = core.nest[-1]
    c, name = core.index, handler.name
    while handler.pc < len(handler.ops):
        code, what, time = handler.ops[handler.pc]
        handler.pc += 1
        if code == RUN:
            handler.left = time
            handler.own += time
            resume(m, core)
            return
        if code == SEND:
            if not send(m, core, name, m.queues[what]):
                drop(m, core, m.queues[what])
        elif code == ACTIVATE:
            activate(m, m.tasks[what], c)
        elif code == MARK:
            m.emit((m.now, c, E_MARK, what, time))
        elif code == RELEASE_DUE:
            while m.due and m.due[0][0] <= m.now:
                release_by_time(m, m.tasks[heappop(m.due)[1]], c, name)
                if what > 0:  # a recorded handler releases one here, and goes on
                    break
        elif code == RELEASE:
            release_awaited(m, m.tasks[what], c, name)
        elif code == TELL:
            tell(m, c, what)
    m.emit((m.now, c, E_LEAVE, name, -1))
    core.nest.pop()
    if core.boundary == handler.entered:
        core.boundary = m.now  # it came between two jobs, and only now can another task be next
    m.truth.handler_runs.extend((name, c, handler.entered, m.now, handler.own, handler.entered_for))
    m.truth.moved_cores.add(c)
    resume(m, core)
    _enter_next(m, core)
    if handler.rotates and not core.nest:
        end_slice(m, core)


def _enter_next(m: Machine, core: CoreState) -> None:
    """Enter the most urgent handler that waits, if it beats who has the core now."""
    if not core.requested:
        return
    best = min(core.requested, key=lambda one: (one.key, one.index))
    if not core.nest or best.key < core.nest[-1].key:
        core.requested.remove(best)
        best.waiting = False
        _enter(m, core, best)
