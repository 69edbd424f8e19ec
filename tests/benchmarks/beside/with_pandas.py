"""The two questions in pandas."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.benchmarks.beside.declared import Declared, read_declared

KINDS = {"core": "uint8", "event": "category", "subject": "category", "value": "category"}
OFF = ["preempt", "wait", "terminate"]


def answers(path: Path) -> dict[str, Any]:
    declared = read_declared(path)
    log = pd.read_csv(path, comment="#", dtype=KINDS)
    log["ns"] = (log.time - log.time.iloc[0]) * 1_000_000_000 // declared.hz
    return {"busy": busy(log, declared), "responses": responses(log, declared)}


def busy(log: pd.DataFrame, declared: Declared) -> dict[str, int]:
    moves = log[log.event.isin(["start", *OFF, "enter", "leave"])]
    event, core = moves.event, moves.core
    enters, leaves = event.eq("enter"), event.eq("leave")
    depth = (enters.astype("int8") - leaves.astype("int8")).groupby(core).cumsum()
    subject = moves.subject.cat.add_categories("nobody")
    handler = subject.where(enters).groupby([core, depth]).ffill()
    task = subject.mask(event.isin(OFF), "nobody").mask(enters | leaves).groupby(core).ffill()
    until = moves.ns.groupby(core).shift(-1, fill_value=log.ns.iloc[-1])
    spent = (until - moves.ns).groupby(handler.where(depth > 0, task), observed=True).sum()
    spent = spent.drop(["nobody", *declared.idle], errors="ignore")
    return {declared.names[who]: int(ns) for who, ns in spent.items()}


def responses(log: pd.DataFrame, declared: Declared) -> dict[str, list[int]]:
    acts = log[log.event.isin(["wait", "release", "receive"])]
    activation = acts.subject.map(declared.activation).astype(log.value.dtype)
    by_queue = activation.isin(declared.queues)
    acts = acts.assign(ends=acts.event.ne("release") & acts.value.eq(activation))
    sends = log[log.event.eq("send")]
    jobs = pd.concat([released(acts[~by_queue]), received(acts[by_queue & acts.ends], sends)])
    jobs["response"] = jobs.end - jobs.begin
    jobs["late"] = jobs.response > jobs.task.map(declared.deadline_ns).astype("int64")
    told = jobs.groupby("task", observed=True).agg(
        jobs=("response", "size"),
        p50=("response", nearest_rank(0.5)),
        p99=("response", nearest_rank(0.99)),
        most=("response", "max"),
        late=("late", "sum"),
    )
    return {declared.names[task]: list(map(int, row)) for task, *row in told.itertuples()}


def released(acts: pd.DataFrame) -> pd.DataFrame:
    """Jobs from the release that ends a wait for the activation to the next such wait."""
    acts = acts[acts.event.isin(["wait", "release"])]
    waited = acts.ends.groupby(acts.subject, observed=True).shift(fill_value=False)
    begins = acts.event.eq("release") & waited
    bounds = acts[begins | acts.ends]
    end = bounds.ns.groupby(bounds.subject, observed=True).shift(-1)
    jobs = pd.DataFrame({"task": bounds.subject, "begin": bounds.ns, "end": end})
    return jobs[~bounds.ends].dropna()


def received(takes: pd.DataFrame, sends: pd.DataFrame) -> pd.DataFrame:
    """Jobs from an item's send to what the task does at the queue after it took the item."""
    end = takes.ns.groupby(takes.subject, observed=True).shift(-1)
    takes = takes.assign(end=end).loc[takes.event.eq("receive")]
    nth = takes.groupby("value", observed=True).cumcount()
    sent = sends.assign(nth=sends.groupby("value", observed=True).cumcount())
    jobs = takes.assign(nth=nth).merge(sent, on=["value", "nth"], suffixes=("", "_sent"))
    return jobs[["subject", "ns_sent", "end"]].set_axis(["task", "begin", "end"], axis=1).dropna()


def nearest_rank(share: float) -> Callable[[pd.Series], float]:
    return lambda values: np.quantile(values, share, method="inverted_cdf")
