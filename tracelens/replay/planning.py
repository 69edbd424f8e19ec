"""From a run to the plan of its replay."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from tracelens.engine.work import Things
from tracelens.errors import UsageError
from tracelens.model.events import CODE
from tracelens.model.results import Timeline
from tracelens.replay import kernel
from tracelens.replay.extract import NO_PRIORITY, Extracted, extract
from tracelens.replay.handlers import handler_runs
from tracelens.replay.plan import Plan, Runs, Script, Stretch
from tracelens.replay.records import (
    R_ACTIVATED,
    R_CUT,
    R_ENTER,
    R_RECEIVE,
    R_SEND,
)
from tracelens.replay.scripts import Writer
from tracelens.replay.streams import KEEP_ACT, KEEP_DUE, Around, Stream
from tracelens.replay.tellings import Tellings
from tracelens.replay.waits import (
    BY_ACT,
    BY_ITEM,
    BY_ROOM,
    BY_TICK,
    ENOUGH,
    MOST,
    NEARLY_ALL,
    Ended,
    Setting,
    Wait,
    judge,
    time_like,
    waits_of,
)


def plan(run: Timeline) -> Plan:
    """What a recorded run asks of the kernel: every task's script, every handler's runs.

    Raises `UsageError` for a run in which nothing happened, and for one in which nobody can be
    ranked: no priorities, no deadlines.
    """
    if run.log.events.is_empty():
        raise UsageError(
            "nothing to replay: found no event, expected some",
            hint="tracelens report says what became of the log's lines",
        )
    x = extract(run)
    system = x.system
    ranked = _ranked(x)
    streams = list(_streams(x))
    things = Things()
    things.name("delay")
    number_of, machine = 0, []
    for task in range(len(system.tasks)):
        machine.append(number_of if ranked[task] and not x.about.idle[task] else -1)
        number_of += machine[-1] >= 0
    waits = {
        task: waits_of(s.code, s.arg, s.time, s.more, s.row)
        for task, s in enumerate(streams[: len(system.tasks)])
        if machine[task] >= 0
    }
    settings = _settings(x, waits)
    ended = {task: judge(found, settings[task]) for task, found in waits.items()}
    kept = bytearray(len(x.events.kinds))
    for found in ended.values():
        for end in found.values():
            if end.how in (BY_ACT, BY_TICK):
                kept[end.row] = KEEP_ACT if end.how == BY_ACT else KEEP_DUE
    timed = {task: _keep_activations(x, task, streams[task], kept) for task in waits}
    tellings = Tellings(x, run.log.events, things, run.span_ns)
    facts = kernel.observe(x, run)
    around = Around(
        locks=len(system.locks),
        queues=len(system.locks) + len(system.queues),
        machine=machine,
        kept=kept,
        tell=tellings.place,
        word=lambda thing: things.name(x.named.objects[thing]) if thing >= 0 else -1,
        floods=tellings.floods,
        spun=_spun(x, run),
        switch_cap=facts.switch_cap,
        enters={
            number: _entered(s) for number, s in enumerate(streams) if number >= len(system.tasks)
        },
    )
    stretches = []
    for number, (first, last, begin_ns, end_ns) in enumerate(_bounds(x, run.span_ns)):
        scripts = {}
        for task in waits:
            script = Script(
                system.tasks[task].name,
                period_ns=system.tasks[task].period_ns,
                core=facts.homes[task][0],
                pinned=facts.homes[task][1],
            )
            Writer(
                task,
                script,
                streams[task],
                ended[task],
                around,
                stretch=number,
                begin_ns=begin_ns,
                boot_ns=max((at for at in run.log.restarts if at <= begin_ns), default=0),
                activation=settings[task].activation,
                offset_ns=system.tasks[task].offset_ns,
                awaited=_awaited(ended[task], streams[task]),
                timed_activations=timed[task],
            ).write()
            scripts[script.name] = script
        stretches.append(
            Stretch(
                begin_ns,
                end_ns,
                scripts,
                (
                    *_handlers(x, streams, around, facts, settings, number),
                    *kernel.opaque_runs(x, run, ranked, begin_ns, end_ns),
                ),
                kernel.costs(x, first, last, facts.switch_cap),
                kernel.openings(x, first, last),
                tuple(
                    event
                    for row, event in tellings.beside
                    if int(x.records.row[first]) <= row < _row(x, last)
                ),
                _items(x, first, last),
                _lost(x, first) if number and begin_ns not in run.log.restarts else None,
                bisect_right(run.log.restarts, begin_ns),
            )
        )
    return Plan(
        system=facts.system,
        things=things,
        stretches=tuple(stretches),
        told=tellings.table,
        usual_cost_ns=facts.usual_cost_ns,
        original_ceiling=facts.original_ceiling,
        drops=_drops(x, ended, streams),
        idle=facts.idle,
        preemptive=facts.preemptive,
        turns=facts.turns,
        sleeps=facts.sleeps,
        span_ns=run.span_ns,
        notes=facts.notes,
    )


def _row(x: Extracted, record: int) -> int:
    """The event row of a record; behind the last, that of no event."""
    return int(x.records.row[record]) if record < len(x.records.row) else len(x.events.kinds)


def _entered(s: Stream) -> tuple[list[int], list[int]]:
    """Times and event rows at which a handler entered."""
    places = [place for place, code in enumerate(s.code) if code == R_ENTER]
    return [s.time[place] for place in places], [s.row[place] for place in places]


def _bounds(x: Extracted, span_ns: int) -> Iterator[tuple[int, int, int, int]]:
    """Of each stretch its first record, the one after its last, its begin and its end."""
    r = x.records
    cuts = np.flatnonzero(r.code == R_CUT)
    firsts = [0, *cuts.tolist()]
    lasts = [*cuts.tolist(), len(r.code)]
    begins = [0, *r.time[cuts].tolist()]
    ends = [*r.more[cuts].tolist(), span_ns]
    yield from zip(firsts, lasts, begins, ends, strict=True)


def _items(x: Extracted, first: int, last: int) -> tuple[int, ...]:
    """How many items each queue must have at the begin of a stretch for all its receipts."""
    code, thing = x.records.code[first:last], x.records.arg[first:last]
    steps = np.where(code == R_SEND, 1, np.where(code == R_RECEIVE, -1, 0))
    least = []
    for number in range(len(x.system.queues)):
        mine = steps[(thing == len(x.system.locks) + number) & (steps != 0)]
        least.append(max(0, -int(np.cumsum(mine).min(initial=0))))
    return tuple(least)


def _lost(x: Extracted, cut: int) -> tuple[int, int]:
    """The core on which events are missing before a stretch, and how many; one, if not told."""
    row = int(x.records.row[cut])
    told = x.events.kinds[row] == CODE["lost"]
    return int(x.events.cores[row]), max(1, int(x.events.values[row])) if told else 1


def _ranked(x: Extracted) -> list[bool]:
    """Which tasks the dispatcher can rank."""
    system = x.system
    if system.policy == "edf":
        return [True] * len(system.tasks)
    ranked = [priority != NO_PRIORITY for priority in x.base.tolist()]
    if not any(ok for ok, idle in zip(ranked, x.about.idle, strict=True) if not idle):
        raise UsageError(
            "nothing to replay: found no task with a priority, expected some",
            hint="declare them in the log or in a system file",
        )
    return ranked


def _streams(x: Extracted) -> Iterator[Stream]:
    records = x.records
    order = np.argsort(records.stream, kind="stable")
    ordered = records.take(order)
    cuts = np.flatnonzero(records.code == R_CUT)
    bounds = np.searchsorted(ordered.stream, np.arange(len(x.ran) + 1)).tolist()
    for number in range(len(x.ran)):
        rows = slice(bounds[number], bounds[number + 1])
        yield Stream(
            ordered.code[rows].tolist(),
            ordered.arg[rows].tolist(),
            ordered.time[rows].tolist(),
            ordered.ran[rows].tolist(),
            ordered.more[rows].tolist(),
            ordered.row[rows].tolist(),
            [0, *np.searchsorted(order[rows], cuts).tolist(), bounds[number + 1] - bounds[number]],
            int(x.ran[number]),
        )


def _settings(x: Extracted, waits: dict[int, list[Wait]]) -> dict[int, Setting]:
    system = x.system
    objects = {name: number for number, name in enumerate(x.named.objects)}

    def setting(task: int, ticks: frozenset[int]) -> Setting:
        return Setting(
            locks=len(system.locks),
            queues=len(system.locks) + len(system.queues),
            delay=objects.get("delay", -1),
            activation=x.about.activations[task],
            declared=system.tasks[task].activation is not None,
            period_ns=system.tasks[task].period_ns,
            tasks=len(system.tasks),
            idle=frozenset(n for n, idle in enumerate(x.about.idle) if idle),
            ticks=ticks,
        )

    ticks = set()
    counted: Counter[int] = Counter()
    for task, found in waits.items():
        known = setting(task, frozenset())
        by = [wait.by for wait in found if wait.end >= 0 and time_like(wait.word, known)]
        counted.update(stream for stream in by if stream >= known.tasks)
        for handler in {stream for stream in by if stream >= known.tasks}:
            if by.count(handler) >= MOST * len(by):
                ticks.add(handler)
    ticks = {handler for handler in ticks if counted[handler] >= ENOUGH}
    return {task: setting(task, frozenset(ticks)) for task in waits}


def _keep_activations(x: Extracted, task: int, s: Stream, kept: bytearray) -> bool:
    """Mark the activations that another's act caused. True if the others come at their time."""
    rows = [n for n, code in enumerate(s.code) if code == R_ACTIVATED]
    record = x.system.tasks[task]
    by_time = record.period_ns is not None or record.separation_ns is not None
    if by_time or not rows:
        return True
    by = [s.arg[n] for n in rows]
    actor = max(set(by), key=by.count)
    share = by.count(actor) / len(by)
    tasks = len(x.system.tasks)
    enough = len(by) >= (2 if actor >= tasks else ENOUGH)
    if actor < 0 or not enough or share < NEARLY_ALL:
        return True
    if actor < tasks and x.about.idle[actor]:
        return True
    for n, who in zip(rows, by, strict=True):
        if who == actor:
            kept[s.row[n]] = KEEP_ACT
    return False


def _awaited(ended: dict[int, Ended], s: Stream) -> frozenset[int]:
    """The queues at which the task ever waited for an item."""
    return frozenset(s.arg[place] for place, end in ended.items() if end.how == BY_ITEM)


def _spun(x: Extracted, run: Timeline) -> frozenset[tuple[int, int]]:
    spun = run.lock_waits.filter(run.lock_waits["spun"])
    index = {task.name: number for number, task in enumerate(x.system.tasks)}
    names = spun["task"].cast(str).to_list()
    return frozenset(
        (index[name], at) for name, at in zip(names, spun["start_ns"], strict=True) if name in index
    )


def _drops(
    x: Extracted, ended: dict[int, dict[int, Ended]], streams: Sequence[Stream]
) -> frozenset[str]:
    """Queues at which no sender ever waited for room: a full one loses the item."""
    waited = {
        streams[task].arg[place]
        for task, found in ended.items()
        for place, end in found.items()
        if end.how == BY_ROOM
    }
    first = len(x.system.locks)
    return frozenset(
        queue.name for n, queue in enumerate(x.system.queues) if first + n not in waited
    )


def _handlers(
    x: Extracted,
    streams: Sequence[Stream],
    around: Around,
    facts: kernel.Observed,
    settings: dict[int, Setting],
    stretch: int,
) -> list[Runs]:
    tasks = len(x.system.tasks)
    ticks: frozenset[int] = frozenset().union(*(s.ticks for s in settings.values()))
    found = []
    for number, isr in enumerate(x.system.isrs):
        stream = tasks + number
        cores = range(len(x.system.cores))
        for runs in handler_runs(
            isr.name, cores, streams[stream], around, stretch=stretch, is_tick=stream in ticks
        ):
            runs.key = facts.keys[number]
            runs.rotates = number == facts.turns.handler
            found.append(runs)
    return found
