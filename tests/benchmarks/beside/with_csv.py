"""The two questions in a loop over the lines: the csv module, and nothing else."""

import csv
from collections import defaultdict, deque
from pathlib import Path
from typing import Any

from tests.benchmarks.beside.declared import read_declared


def answers(path: Path) -> dict[str, Any]:
    declared = read_declared(path)
    activation, queues, hz = declared.activation, declared.queues, declared.hz
    busy: dict[str, int] = defaultdict(int)
    running: dict[str, str] = {}  # by core
    handlers: dict[str, list[str]] = defaultdict(list)  # by core, the innermost last
    since: dict[str, int] = {}  # by core
    waiting: dict[str, str] = {}  # task: what for
    released: dict[str, int] = {}  # task: when its job under way began
    sent: dict[str, deque[int]] = defaultdict(deque)  # by queue
    responses: dict[str, list[int]] = defaultdict(list)
    first = None

    with path.open(newline="") as file:
        rows = csv.reader(line for line in file if not line.startswith("#"))
        next(rows)
        for time, core, event, subject, value in rows:
            if first is None:
                first = int(time)
            ns = (int(time) - first) * 1_000_000_000 // hz

            if event in ("start", "preempt", "wait", "terminate", "enter", "leave"):
                stack = handlers[core]
                who = stack[-1] if stack else running.get(core)
                if who is not None:
                    busy[who] += ns - since[core]
                since[core] = ns
                if event == "start":
                    running[core] = subject
                elif event == "enter":
                    stack.append(subject)
                elif event == "leave":
                    stack.pop()
                else:
                    running.pop(core, None)

            if event in ("wait", "receive"):
                if value == activation[subject] and subject in released:
                    responses[subject].append(ns - released.pop(subject))
                if event == "wait":
                    waiting[subject] = value
                elif value == activation[subject]:
                    released[subject] = sent[value].popleft()
            elif event == "release":
                what = waiting.pop(subject, None)
                if what == activation[subject] and what not in queues:
                    released[subject] = ns
            elif event == "send":
                sent[value].append(ns)

    for core, stack in handlers.items():
        who = stack[-1] if stack else running.get(core)
        if who is not None:
            busy[who] += ns - since[core]

    names = declared.names
    return {
        "busy": {names[who]: busy[who] for who in busy if who not in declared.idle},
        "responses": {
            names[task]: told(sorted(times), declared.deadline_ns[task])
            for task, times in responses.items()
        },
    }


def told(times: list[int], deadline_ns: int) -> list[int]:
    late = sum(time > deadline_ns for time in times)
    return [len(times), nearest_rank(times, 50), nearest_rank(times, 99), times[-1], late]


def nearest_rank(times: list[int], percent: int) -> int:
    return times[-(-len(times) * percent // 100) - 1]
