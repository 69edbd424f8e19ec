"""From a handler's records to its runs."""

from collections.abc import Sequence

from tracelens.engine.work import ACTIVATE, RELEASE, RELEASE_DUE, RUN, SEND, TELL, Op
from tracelens.replay.plan import Runs
from tracelens.replay.records import (
    R_ACTIVATES,
    R_ENTER,
    R_LEAVE,
    R_PEND,
    R_RELEASES,
    R_SEND,
    R_TELL,
)
from tracelens.replay.streams import KEEP_ACT, KEEP_DUE, Around, Stream


def handler_runs(
    name: str,
    cores: Sequence[int],
    records: Stream,
    around: Around,
    *,
    stretch: int,
    is_tick: bool,
) -> list[Runs]:
    """The runs of one handler in one stretch, by core."""
    found = {core: Runs(name, core, [], []) for core in cores}
    r = records
    body: list[Op] = []
    core, done, begin, pended, pends, last_due = 0, 0, 0, -1, 0, -1
    entered = False
    for place in range(
        *r.bounds[stretch : stretch + 2]
    ):  # one pass: a handler's records become its runs
        code, arg, at, ran = r.code[place], r.arg[place], r.time[place], r.ran[place]
        if code == R_PEND:
            pended = at
            continue
        if code == R_ENTER:
            body, core, done, entered, last_due = [], arg, ran, True, -1
            pends += pended >= 0
            begin = pended if pended >= 0 else at
            pended = -1
            continue
        if not entered:
            continue
        if ran > done:
            body.append((RUN, -1, ran - done))
            done = ran
        if code == R_LEAVE:
            if is_tick:
                if last_due < 0:
                    body.append((RELEASE_DUE, 0, 0))
                else:
                    body[last_due] = (RELEASE_DUE, 0, 0)
            runs = found[core]
            runs.times.append(begin)
            runs.bodies.append(tuple(body))
            entered = False
        elif code == R_SEND:
            body.append((SEND, arg - around.locks, 0))
        elif code in (R_RELEASES, R_ACTIVATES):
            kept, target = around.kept[r.row[place]], around.machine[arg]
            if kept == KEEP_ACT and target >= 0:
                body.append((RELEASE if code == R_RELEASES else ACTIVATE, target, 0))
            elif kept == KEEP_DUE:
                last_due = len(body)
                body.append((RELEASE_DUE, 1, 0))
        elif code == R_TELL:
            told = around.tell(arg)
            queue = around.floods.get(told)
            body.append((TELL, told, 0) if queue is None else (SEND, queue, 0))
    used = [runs for runs in found.values() if runs.times]
    total = sum(len(runs.times) for runs in used)
    for runs in used:
        runs.tells = pends == total and total > 0
    return used
