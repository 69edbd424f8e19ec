"""One pass over the events: which task or handler did what, and how long it had run by then.

A plain loop over integer arrays, compiled on large logs. It follows who has each core by the
same rules as the reconstruction, but writes acts instead of intervals.
"""

from typing import Final

from tracelens.engine.core_time import BLOCKED, LEFT, TAKEN
from tracelens.model.events import CODE
from tracelens.reconstruct.arena import Memory
from tracelens.replay.records import (
    ARG,
    CODE_,
    MORE,
    R_ACTIVATED,
    R_ACTIVATES,
    R_APPEARS,
    R_BASE,
    R_BREAK,
    R_CUT,
    R_ENTER,
    R_LATE,
    R_LEAVE,
    R_LOCK,
    R_MASK,
    R_PEND,
    R_PREEMPTED,
    R_RAISED,
    R_RECEIVE,
    R_RELEASED,
    R_RELEASES,
    R_REQUEST,
    R_SEND,
    R_START,
    R_SUSPENDED,
    R_TELL,
    R_TERMINATED,
    R_UNKNOWN,
    R_UNLOCK,
    R_WAIT,
    RAN,
    ROW,
    STREAM,
    TIME,
)
from tracelens.replay.walked import (
    ASLEEP,
    BASE,
    BEGUN,
    BLIND,
    BLIND_FROM,
    CUR,
    DEEPEST,
    DEPTH,
    FRESH,
    GIVING,
    HELD,
    LAST,
    NEST,
    NOBODY,
    OUT,
    PENDING,
    READY,
    READY_AT,
    REMOTE,
    RUNNING,
    STATE,
    TOOK,
    UNSEEN,
    WAITING,
    WHERE,
    account,
    ready,
    vacate,
)

ACTIVATE: Final = CODE["activate"]
START: Final = CODE["start"]
PREEMPT: Final = CODE["preempt"]
WAIT: Final = CODE["wait"]
RELEASE: Final = CODE["release"]
TERMINATE: Final = CODE["terminate"]
SUSPEND: Final = CODE["suspend"]
ARRIVE: Final = CODE["arrive"]
FINISH: Final = CODE["finish"]
ENTER: Final = CODE["enter"]
LEAVE: Final = CODE["leave"]
PEND: Final = CODE["pend"]
MASK_: Final = CODE["mask"]
UNMASK: Final = CODE["unmask"]
REQUEST: Final = CODE["request"]
LOCK: Final = CODE["lock"]
UNLOCK: Final = CODE["unlock"]
SEND: Final = CODE["send"]
RECEIVE: Final = CODE["receive"]
PRIORITY: Final = CODE["priority"]
STACK: Final = CODE["stack"]
SLEEP: Final = CODE["sleep"]
WAKE: Final = CODE["wake"]
MARK: Final = CODE["mark"]
LOST: Final = CODE["lost"]

MOST_AN_EVENT: Final = 3 + DEEPEST
"""Records that one event can write, beside one for each task where events are lost."""


def walk(
    times: Memory,
    cores: Memory,
    kinds: Memory,
    whos: Memory,
    values: Memory,
    boots: Memory,
    causes: Memory,
    tasks: int,
    locks: int,
    late_ns: int,
    has_idle: Memory,
    core: Memory,
    task: Memory,
    ran: Memory,
    out: Memory,
    first: int,
) -> tuple[int, int]:
    """Take the events from row `first` on; returns (rows taken so far, records written).

    `locks`: values below are locks. `causes`: the stream that a release names, −1.
    `core[c, field]`, `task[t, field]` and `ran[stream]` are the state, changed in place. Stops
    when `out` has no room for another event.
    """
    n = 0
    room = len(out) - MOST_AN_EVENT * len(core) - tasks
    i = first
    while i < len(kinds) and n < room:
        if i > 0 and boots[i] != boots[i - 1]:
            n = _cut(out, n, core, ran, tasks, times[i - 1], times[i], i)
            for t in range(tasks):
                task[t, STATE] = UNSEEN
                task[t, HELD] = 0
            for c in range(len(core)):
                core[c, CUR] = -1
                core[c, BLIND] = 1
                core[c, ASLEEP] = 0
                core[c, BLIND_FROM] = times[i]
        kind = kinds[i]
        now = times[i]
        c = cores[i]
        who = whos[i]
        value = values[i]
        before = core[c, LAST]
        account(core, ran, c, now)
        depth = core[c, DEPTH]
        cur = core[c, CUR]
        actor = core[c, NEST + depth - 1] if depth > 0 else cur
        fresh = core[c, FRESH]
        giving = core[c, GIVING]
        if not (core[c, GIVING] == 1 and (kind in (RELEASE, PRIORITY))):
            core[c, FRESH] = 0
            core[c, GIVING] = 1 if depth == 0 and (kind in (UNLOCK, SEND)) else 0
        t = who if who >= 0 else -1
        h = tasks - 2 - who if who < -1 else -1

        if t >= 0 and cur != t and depth == 0 and core[c, BLIND] == 0 and _proves(kind):
            # A switch was not recorded: from the last event on, nobody knows.
            if cur >= 0:
                ran[cur] -= fresh
                task[cur, STATE] = UNSEEN
            if task[t, STATE] == RUNNING and core[task[t, WHERE], CUR] == t:
                core[task[t, WHERE], CUR] = -1
            n = _cut(out, n, core, ran, tasks, before, now, i)
            task[t, STATE] = RUNNING
            task[t, WHERE] = c
            core[c, CUR] = t
            cur = t
            actor = t

        if kind in (ENTER, LEAVE):
            if kind == ENTER:
                n = _leave_to(out, n, core, ran, c, h, now, i)
                depth = core[c, DEPTH]
                below = core[c, NEST + depth - 1] if depth > 0 else -1
                if depth < DEEPEST:
                    core[c, NEST + depth] = h
                    core[c, DEPTH] = depth + 1
                    n = _put(out, n, h, R_ENTER, c, now, ran[h], below, i)
            else:
                n = _leave_to(out, n, core, ran, c, h, now, i)
        elif kind == START and t >= 0:
            while core[c, DEPTH] > 0:
                depth = core[c, DEPTH] - 1
                core[c, DEPTH] = depth
                top = core[c, NEST + depth]
                n = _put(out, n, top, R_LEAVE, 0, now, ran[top], 0, i)
            if cur == t:
                n = _put(out, n, t, R_LATE, 0, now, ran[t], 0, i)
            else:
                cost = core[c, NOBODY] - core[c, BEGUN] if core[c, BEGUN] >= 0 else 0
                took = core[c, TOOK]
                if cur >= 0:
                    # The switch began when it gave something, or when the other was ready.
                    cost = fresh if giving == 1 else min(fresh, now - task[t, READY_AT])
                    took = TAKEN
                    task[cur, STATE] = READY
                    n = _put(out, n, cur, R_PREEMPTED, cost, now, ran[cur], t, i)
                if task[t, STATE] == WAITING or task[t, STATE] == OUT:
                    n = _put(out, n, t, R_RELEASED, -1, now, ran[t], 0, i)
                elif task[t, STATE] == UNSEEN:
                    n = _put(out, n, t, R_APPEARS, 0, now, ran[t], 0, i)
                elif task[t, STATE] == RUNNING and core[task[t, WHERE], CUR] == t:
                    core[task[t, WHERE], CUR] = -1
                if core[c, BLIND] == 1:
                    n = _put(out, n, -1, R_UNKNOWN, c, now, 0, core[c, BLIND_FROM], i)
                    core[c, BLIND] = 0
                    cost = -1
                n = _put(out, n, t, R_START, cost, now, ran[t], took, i)
                task[t, STATE] = RUNNING
                task[t, WHERE] = c
                task[t, REMOTE] = -1
                core[c, CUR] = t
        elif kind == WAIT and t >= 0:
            n = _put(out, n, t, R_WAIT, value, now, ran[t], 0, i)
            vacate(core, task, has_idle, t, BLOCKED if 0 <= value < locks else LEFT)
            task[t, STATE] = WAITING
            if task[t, REMOTE] >= 0 and now - task[t, REMOTE] <= late_ns:
                n = _put(out, n, t, R_RELEASED, -1, now, ran[t], 0, i)
                ready(core, task, t, c, now)
            task[t, REMOTE] = -1
        elif kind == RELEASE and t >= 0:
            state = task[t, STATE]
            if state == RUNNING:
                if task[t, WHERE] != c:
                    task[t, REMOTE] = now
            elif state != READY:
                cause = causes[i]
                if state == UNSEEN:
                    n = _put(out, n, t, R_APPEARS, 1, now, ran[t], 0, i)
                named = 1 if cause >= 0 and cause == actor else 0
                n = _put(out, n, t, R_RELEASED, actor, now, ran[t], named, i)
                if actor >= 0:
                    n = _put(out, n, actor, R_RELEASES, t, now, ran[actor], 0, i)
                ready(core, task, t, c, now)
        elif kind == ACTIVATE and t >= 0:
            n = _put(out, n, t, R_ACTIVATED, actor, now, ran[t], 0, i)
            if actor >= 0:
                n = _put(out, n, actor, R_ACTIVATES, t, now, ran[actor], 0, i)
            if task[t, STATE] in (UNSEEN, OUT):
                ready(core, task, t, c, now)
            else:
                task[t, PENDING] += 1
        elif kind == PREEMPT and t >= 0:
            n = _put(out, n, t, R_PREEMPTED, 0, now, ran[t], -1, i)
            vacate(core, task, has_idle, t, TAKEN)
            task[t, STATE] = READY
        elif kind == TERMINATE and t >= 0:
            n = _put(out, n, t, R_TERMINATED, 0, now, ran[t], 0, i)
            vacate(core, task, has_idle, t, LEFT)
            task[t, STATE] = OUT
            if task[t, PENDING] > 0:
                task[t, PENDING] -= 1
                ready(core, task, t, c, now)
        elif kind == SUSPEND and t >= 0:
            n = _put(out, n, t, R_SUSPENDED, 0, now, ran[t], 0, i)
            vacate(core, task, has_idle, t, LEFT)
            task[t, STATE] = OUT
        elif kind == REQUEST and t >= 0:
            n = _put(out, n, t, R_REQUEST, value, now, ran[t], 0, i)
        elif kind == LOCK and t >= 0:
            n = _put(out, n, t, R_LOCK, value, now, ran[t], 0, i)
            task[t, HELD] += 1
        elif kind == UNLOCK and t >= 0:
            n = _put(out, n, t, R_UNLOCK, value, now, ran[t], 0, i)
            task[t, HELD] = max(0, task[t, HELD] - 1)
        elif (kind in (SEND, RECEIVE)) and who != -1:
            stream = t if t >= 0 else h
            code = R_SEND if kind == SEND else R_RECEIVE
            n = _put(out, n, stream, code, value, now, ran[stream], 0, i)
        elif kind == PRIORITY and t >= 0:
            if task[t, HELD] > 0:
                n = _put(out, n, t, R_RAISED, value, now, ran[t], 0, i)
            elif value != task[t, BASE]:
                by = actor if actor >= 0 else t
                task[t, BASE] = value
                n = _put(out, n, by, R_BASE, t, now, ran[by], value, i)
        elif kind == PEND and h >= 0:
            n = _put(out, n, h, R_PEND, c, now, ran[h], 0, i)
        elif kind in (MASK_, UNMASK):
            stream = t if t >= 0 else h
            if stream >= 0:
                on = 1 if kind == MASK_ else 0
                n = _put(out, n, stream, R_MASK, value, now, ran[stream], on, i)
        elif kind == SLEEP:
            core[c, ASLEEP] = 1
        elif kind == WAKE:
            core[c, ASLEEP] = 0
        elif kind == LOST:
            if cur >= 0:
                ran[cur] -= fresh
            n = _cut(out, n, core, ran, tasks, before, now, i)
            _lose(core, task, tasks, c, before)
        elif kind in (MARK, STACK, ARRIVE, FINISH):
            stream = t if t >= 0 and t == cur else actor
            told = ran[stream] if stream >= 0 else 0
            n = _put(out, n, stream, R_TELL, i, now, told, c, i)
        i += 1
    if i == len(kinds) and i > 0:
        for c in range(len(core)):
            account(core, ran, c, times[i - 1])
    return i, n


def _proves(kind: int) -> bool:
    """Whether such an event shows that its task runs."""
    return kind in (WAIT, PREEMPT, TERMINATE, REQUEST, LOCK, UNLOCK, RECEIVE, FINISH, SEND)


def _leave_to(
    out: Memory, n: int, core: Memory, ran: Memory, c: int, h: int, now: int, i: int
) -> int:
    """End the handler `h`, and those nested in it, if it is under way on the core."""
    depth = core[c, DEPTH]
    found = -1
    for place in range(depth):
        if core[c, NEST + place] == h:
            found = place
    if found < 0:
        return n
    while core[c, DEPTH] > found:
        depth = core[c, DEPTH] - 1
        core[c, DEPTH] = depth
        top = core[c, NEST + depth]
        n = _put(out, n, top, R_LEAVE, 0, now, ran[top], 0, i)
    return n


def _cut(
    out: Memory, n: int, core: Memory, ran: Memory, tasks: int, since: int, now: int, i: int
) -> int:
    """Begin another stretch: [since, now) is unknown on some core."""
    for c in range(len(core)):
        account(core, ran, c, max(core[c, LAST], since))
        while core[c, DEPTH] > 0:
            depth = core[c, DEPTH] - 1
            core[c, DEPTH] = depth
            top = core[c, NEST + depth]
            n = _put(out, n, top, R_LEAVE, 0, since, ran[top], 0, i)
    n = _put(out, n, -1, R_CUT, 0, now, 0, since, i)
    for t in range(tasks):
        n = _put(out, n, t, R_BREAK, 0, now, ran[t], 0, i)
    return n


def _lose(core: Memory, task: Memory, tasks: int, c: int, since: int) -> None:
    """Events of this core are missing: it is unknown, and so is who does not run elsewhere."""
    if core[c, BLIND] == 0:
        core[c, BLIND] = 1
        core[c, BLIND_FROM] = since
    core[c, CUR] = -1
    core[c, ASLEEP] = 0
    for t in range(tasks):
        if task[t, STATE] != RUNNING or task[t, WHERE] == c:
            task[t, STATE] = UNSEEN
            task[t, HELD] = 0


def _put(
    out: Memory, n: int, stream: int, code: int, arg: int, now: int, ran: int, more: int, row: int
) -> int:
    out[n, STREAM] = stream
    out[n, CODE_] = code
    out[n, ARG] = arg
    out[n, TIME] = now
    out[n, RAN] = ran
    out[n, MORE] = more
    out[n, ROW] = row
    return n + 1
