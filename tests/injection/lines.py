"""Faults written into the lines of a log, so that recordings of real kernels can have them."""

from collections.abc import Iterator

Line = list[str]


def parts(log: str) -> tuple[list[str], list[Line]]:
    """Declarations with the column names, and the events, split."""
    lines = log.splitlines()
    head = [line for line in lines if line.startswith(("#", "time,"))]
    return head, [line.split(",") for line in lines if line and line[0].isdigit()]


def joined(head: list[str], events: list[Line]) -> str:
    return "\n".join([*head, *(",".join(event) for event in events)]) + "\n"


def leak(log: str, task: str, bytes_a_job: int) -> str:
    """At each wait of `task` its stack mark has fallen by so many bytes; never below 0."""
    head, events = parts(log)
    first: int | None = None
    waits = 0
    out: list[Line] = []
    for event in events:
        time, core, word, subject, value = event
        if word == "stack" and subject == task:
            first = int(value) if first is None else first
            event = [time, core, word, subject, str(max(0, first - bytes_a_job * waits))]
        out.append(event)
        if word == "wait" and subject == task and first is not None:
            waits += 1
            left = str(max(0, first - bytes_a_job * waits))
            # A task's own mark is written before it waits.
            out.insert(-1, [time, core, "stack", task, left])
    return joined(head, out)


def storm(log: str, isr: str, begin: float, end: float, length: int, gap: int) -> str:
    """Between two shares of the run the handler runs `length` ticks each `gap`, in idle time."""
    head, events = parts(log)
    first, last = int(events[0][0]), int(events[-1][0])
    low, high = first + begin * (last - first), first + end * (last - first)
    out: list[Line] = []
    for event, time in _with_idle(events):
        if time is not None and low <= time < high:
            until = int(event[0])
            at = time + 1
            while at + length < until:
                out.append([str(at), event[1], "enter", isr, ""])
                out.append([str(at + length), event[1], "leave", isr, ""])
                at += gap
        out.append(event)
    return joined(head, out)


def slower(log: str, task: str, begin: float, most: int) -> str:
    """From a share of the run on, `task` runs on into the idle time after each job, by `most`.

    Its wait and the start of idle move behind the handlers' records, up to the next of a task.
    """
    head, events = parts(log)
    first, last = int(events[0][0]), int(events[-1][0])
    low = first + begin * (last - first)
    out: list[Line] = []
    k = 0
    while k < len(events):
        event = events[k]
        after = events[k + 1] if k + 1 < len(events) else None
        if not (
            after is not None
            and int(event[0]) >= low
            and event[2:4] == ["wait", task]
            and after[2:4] == ["start", "idle"]
        ):
            out.append(event)
            k += 1
            continue
        stop = k + 2
        while (
            stop < len(events)
            and events[stop][2] in ("enter", "leave")
            and int(events[stop][0]) < int(after[0]) + most
        ):
            stop += 1
        nested = sum(1 if e[2] == "enter" else -1 for e in events[k + 2 : stop])
        while nested > 0:
            stop -= 1
            nested -= 1 if events[stop][2] == "enter" else -1
        out += events[k + 2 : stop]
        latest = int(events[stop][0]) if stop < len(events) else int(after[0])
        previous = int(events[stop - 1][0])
        at = max(previous, min(latest - 20, int(after[0]) + most), int(event[0]))
        out.append([str(at), *event[1:]])
        out.append([str(at + (10 if at + 10 < latest else 0)), *after[1:]])
        k = stop
    return joined(head, out)


def _with_idle(events: list[Line]) -> Iterator[tuple[Line, int | None]]:
    """Each event, and since when idle runs undisturbed before it."""
    idle = False
    nest = 0
    since = 0
    for event in events:
        yield event, since if idle and nest == 0 else None
        word, subject = event[2], event[3]
        if word == "start":
            idle = subject == "idle"
        nest += (word == "enter") - (word == "leave")
        since = int(event[0])
