"""From one task's records to its script."""

from tracelens.engine.listed import Until
from tracelens.engine.state import NEVER
from tracelens.engine.work import (
    ACTIVATE,
    AWAIT,
    BLANK,
    END,
    HOLD,
    LOCK,
    MASK,
    NEXT,
    POLL,
    PRIORITY,
    RECEIVE,
    RELEASE,
    RUN,
    SEND,
    SUSPEND,
    TELL,
    UNLOCK,
    UNTIL,
    Op,
)
from tracelens.replay.plan import Script
from tracelens.replay.records import (
    R_ACTIVATED,
    R_ACTIVATES,
    R_APPEARS,
    R_BASE,
    R_BREAK,
    R_LATE,
    R_LOCK,
    R_MASK,
    R_PREEMPTED,
    R_RECEIVE,
    R_RELEASED,
    R_RELEASES,
    R_REQUEST,
    R_SEND,
    R_START,
    R_SUSPENDED,
    R_TELL,
    R_TERMINATED,
    R_UNLOCK,
    R_WAIT,
)
from tracelens.replay.streams import KEEP_ACT, Around, Stream
from tracelens.replay.waits import (
    BY_ACT,
    BY_DELAY,
    BY_ITEM,
    BY_LOCK,
    BY_ROOM,
    BY_TICK,
    BY_TIME,
    NEVER_ENDS,
    Ended,
    entered_at,
    grid_origin,
)


class Writer:
    """Writes one task's script."""

    def __init__(
        self,
        stream: int,
        script: Script,
        records: Stream,
        ended: dict[int, Ended],
        around: Around,
        *,
        stretch: int,
        begin_ns: int,
        boot_ns: int,
        activation: int,
        offset_ns: int | None,
        awaited: frozenset[int],
        timed_activations: bool,
    ) -> None:
        self._me = stream
        self._script = script
        self._r = records
        self._first, self._last = records.bounds[stretch : stretch + 2]
        self._whole_ns = records.ran_by(stretch)
        self._begin_ns = begin_ns
        self._ended = ended
        self._around = around
        self._activation = activation
        self._offset_ns = None if offset_ns is None else boot_ns + offset_ns
        self._boot_ns = boot_ns
        self._awaited = awaited
        self._timed = timed_activations
        self._ops = script.ops
        self._done = 0  # own execution that is in the script
        self._cut = 0  # what the record gives the task, but was a switch already
        self._pending: tuple[int, int, int] | None = None  # lock, place of its LOCK, begin
        self._waited = False  # since the pending request
        self._held: dict[int, int] = {}  # lock → place of the first job's end since, −1: none yet
        self._nominal: int | None = None
        self._origin = self._grid()

    def _grid(self) -> int:
        period = self._script.period_ns
        if period is None:
            return 0
        releases = [
            e.end for e in self._ended.values() if e.how <= BY_TICK and e.end >= self._boot_ns
        ]
        return grid_origin(releases, self._offset_ns, period)

    def write(self) -> None:
        """Write the whole script."""
        r, around = self._r, self._around
        place = self._opening()
        while place < self._last:  # one pass: a task's records become its operations
            code, arg, at, ran = r.code[place], r.arg[place], r.time[place], r.ran[place]
            if code == R_PREEMPTED:
                if 0 < arg <= around.switch_cap:
                    self._cut += arg
            elif code == R_WAIT:
                place = self._wait(place)
            elif code == R_LATE:
                self._late(at, ran)
            elif code == R_REQUEST:
                self._request(arg, at, ran)
            elif code == R_LOCK:
                self._lock(arg, at, ran)
            elif code == R_UNLOCK:
                self._put(ran, (UNLOCK, arg, 0))
                self._held.pop(arg, None)
            elif code == R_SEND:
                self._put(ran, (SEND, arg - around.locks, 0))
            elif code == R_RECEIVE:
                self._receive(arg, ran)
            elif code in (R_RELEASES, R_ACTIVATES):
                target = around.machine[arg]
                if around.kept[r.row[place]] == KEEP_ACT and target >= 0:
                    self._put(ran, (RELEASE if code == R_RELEASES else ACTIVATE, target, 0))
            elif code == R_TELL:
                self._put(ran, self._told(arg))
            elif code == R_BASE:
                if around.machine[arg] >= 0:
                    self._put(ran, (PRIORITY, around.machine[arg], -r.more[place]))
            elif code == R_MASK:
                if arg == 1:
                    self._put(ran, (MASK, r.more[place], 0))
            elif code == R_TERMINATED:
                self._gave_up(at)
                self._run(ran)
                self._job_ends()
                self._ops.append((END, 0, 0))
            elif code == R_ACTIVATED:
                if self._timed:
                    self._script.activations.append(at)
            elif code == R_SUSPENDED:
                self._suspended(place)
            place += 1
        self._run(self._whole_ns)
        self._ops.append((BLANK, 0, 0))

    # ------------------------------------------------------------------ the begin

    def _opening(self) -> int:
        """Settle how the script begins; returns the place of the first record to take."""
        r, script, first = self._r, self._script, self._first
        if first < self._last and r.code[first] == R_BREAK:
            self._done = r.ran[first]
            first += 1
        if first == self._last:
            if self._whole_ns > self._done:
                script.unseen = True
                script.activations.append(self._begin_ns)
            return first
        code, at = r.code[first], r.time[first]
        if code == R_ACTIVATED:
            if at == self._begin_ns == self._boot_ns and self._waits_at_once(first):
                script.at_once = True
                return first + 2
            if not self._timed and self._around.kept[r.row[first]] != KEEP_ACT:
                script.activations.append(at)
        elif code == R_RELEASED or (code == R_APPEARS and r.arg[first] == 1):
            script.released = True  # its wait was before the stretch
            self._until(Ended(BY_TIME, 0, at, -1, -1), -1)
            return first + 1
        else:
            script.unseen = True
            begins = code in (R_START, R_APPEARS)
            script.activations.append(at if begins else self._begin_ns)
        return first

    def _waits_at_once(self, first: int) -> bool:
        """Whether the start-up takes no time: activated, started, and waiting."""
        r = self._r
        codes = r.code[first : first + 3]
        return codes == [R_ACTIVATED, R_START, R_WAIT] and r.time[first + 2] == r.time[first]

    # ------------------------------------------------------------------ pieces

    def _run(self, ran: int) -> None:
        length = ran - self._cut - self._done
        if length > 0:
            self._done += length
            self._ops.append((RUN, -1, length))

    def _put(self, ran: int, op: Op) -> None:
        self._run(ran)
        self._ops.append(op)

    def _told(self, row: int) -> Op:
        told = self._around.tell(row)
        queue = self._around.floods.get(told)
        return (TELL, told, 0) if queue is None else (SEND, queue, 0)

    def _request(self, lock: int, at: int, ran: int) -> None:
        if self._pending is not None:
            if self._pending[0] == lock:
                return
            self._gave_up(at)
        self._unlock_that_was_lost(lock)
        self._run(ran)
        self._pending = (lock, len(self._ops), at)
        self._waited = False
        self._ops.append((LOCK, lock, 0))

    def _lock(self, lock: int, at: int, ran: int) -> None:
        pending = self._pending
        if pending is not None and pending[0] == lock:
            if not self._waited and (self._me, pending[2]) in self._around.spun:
                self._done = ran - self._cut  # spinning is no work
        else:
            self._gave_up(at)
            self._unlock_that_was_lost(lock)
            self._put(ran, (LOCK, lock, 0))
        self._pending = None
        self._held.setdefault(lock, -1)

    def _job_ends(self) -> None:
        """A wait between two jobs comes next."""
        for lock, place in self._held.items():
            if place < 0:
                self._held[lock] = len(self._ops)

    def _unlock_that_was_lost(self, lock: int) -> None:
        """Who takes a lock anew, jobs after it took it, gave it back in between, unrecorded."""
        place = self._held.get(lock, -1)
        if place < 0:
            return
        self._ops.insert(place, (UNLOCK, lock, 0))
        del self._held[lock]
        for other, at in self._held.items():
            if at >= place:
                self._held[other] = at + 1

    def _gave_up(self, at: int) -> None:
        """A lock that was asked for and never had: what is left of it is the time it took."""
        if self._pending is None:
            return
        lock, place, begin = self._pending
        self._pending = None
        if self._waited and at > begin:
            self._ops[place] = (SUSPEND, self._around.word(lock), at - begin)
        else:
            del self._ops[place]

    def _receive(self, queue: int, ran: int) -> None:
        number = queue - self._around.locks
        if queue == self._activation:
            self._run(ran)
            self._job_ends()
            self._put(ran, (NEXT, number, 0))
            self._ops.append((RECEIVE, number, 0))
        else:
            self._put(ran, (RECEIVE if queue in self._awaited else POLL, number, 0))

    def _late(self, at: int, ran: int) -> None:
        """A start of the running task: past its next nominal release that job begins, late."""
        period = self._script.period_ns
        if period is None or self._nominal is None or at <= self._nominal + period:
            return
        self._nominal += period
        self._run(ran)
        word = self._script.untils[-1].word if self._script.untils else -1
        tick = bool(self._script.untils) and self._script.untils[-1].by_tick
        self._append_until(Until(self._nominal, self._nominal, word, tick))

    def _wait(self, place: int) -> int:
        """A wait; returns the place of the last record that it takes in."""
        r = self._r
        word, ran = r.arg[place], r.ran[place]
        ended = self._ended[place]
        how = ended.how
        if how == BY_LOCK:
            if self._pending is None:
                self._put(ran, (LOCK, word, 0))
                self._pending = (word, len(self._ops) - 1, r.time[place])
            self._waited = True
            return place
        self._gave_up(r.time[place])
        if how == BY_ROOM:
            return place
        if how == BY_ITEM:
            return self._item(place, word - self._around.locks)
        said = self._around.word(word)
        self._run(ran)
        if how == BY_ACT:
            self._job_ends()
            self._ops.append((AWAIT, said, 0))
        elif how == BY_DELAY:
            self._ops.append((SUSPEND, said, max(1, ended.end - ended.begin)))
        elif how == NEVER_ENDS:
            self._append_until(Until(NEVER, NEVER, said, False))
        else:
            self._until(ended, said)
        return place

    def _item(self, place: int, queue: int) -> int:
        """A wait for an item and its receipt; what runs in between belongs to what follows."""
        r = self._r
        self._run(r.ran[place])
        if r.arg[place] == self._activation:
            self._job_ends()
            self._ops.append((NEXT, queue, 0))
        self._ops.append((RECEIVE, queue, 0))
        while r.code[place] != R_RECEIVE:
            if r.code[place] == R_PREEMPTED and 0 < r.arg[place] <= self._around.switch_cap:
                self._cut += r.arg[place]
            place += 1
        return place

    def _until(self, ended: Ended, said: int) -> None:
        period = self._script.period_ns
        release = ended.end
        tick = ended.how == BY_TICK
        arrival = release
        if tick:
            # Of several that one tick releases, each has its turn: a nanosecond an event.
            entered, row = entered_at(*self._around.enters[ended.by], release)
            arrival = entered + (ended.row - row)
        due = arrival
        if period is not None:
            self._nominal = self._origin + (release - self._origin) // period * period
            if self._offset_ns is not None:
                due = min(self._nominal, arrival)
        self._append_until(Until(arrival, due, said, tick))

    def _append_until(self, until: Until) -> None:
        self._job_ends()
        self._ops.append((UNTIL, len(self._script.untils), 0))
        self._script.untils.append(until)

    def _suspended(self, place: int) -> None:
        """Suspended by another's hand: it comes back when it was seen again."""
        r = self._r
        self._run(r.ran[place])
        self._gave_up(r.time[place])
        following = place + 1
        back = r.time[following] if following < self._last else NEVER
        released = back < NEVER and r.code[following] == R_RELEASED
        self._ops.append((HOLD, int(released), back))
