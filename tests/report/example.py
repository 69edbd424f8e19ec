"""An analysis made by hand, for what prints it: a knitting machine of two cores, 12 s of it.

The numbers are invented but agree with each other: the ledger of each late job adds up to its
response, shares of a core to 1. No log stands behind it.
"""

from dataclasses import replace
from typing import Any

import polars as pl

from tracelens.model.columns import Name, Table
from tracelens.model.events import EVENTS
from tracelens.model.log import UNUSED, Log
from tracelens.model.measured import MEASURED
from tracelens.model.results import Analysis, Finding, Quality, Timeline
from tracelens.model.system import Clock, System
from tracelens.model.tables import RECONSTRUCTED

US, MS, S = 1_000, 1_000_000, 1_000_000_000

NAMES = ("needle_select", "link", "archive", "solenoid", "panel", "idle0", "idle1")
NAMES += ("carriage_encoder", "flash_bus", "row_queue", "delay")


def frame(table: Table, names: tuple[str, ...] = NAMES, **columns: list[Any]) -> pl.DataFrame:
    """Rows of a contract's table; columns that are not given are null."""
    height = max(map(len, columns.values()), default=0)
    unknown = set(columns) - set(table.columns)
    assert not unknown, unknown
    return pl.DataFrame(
        {
            column: pl.Series(
                column,
                columns.get(column, [None] * height),
                pl.Enum(names) if dtype == Name else dtype,
            )
            for column, (dtype, _) in table.columns.items()
        }
    )


def empty_timeline(**changes: Any) -> Timeline:
    """A run in which nothing happened, 12.4 s long."""
    log = Log(
        sources=("knitting.csv",),
        declared=System(),
        events=pl.DataFrame(schema=EVENTS),
        unused=pl.DataFrame(schema=UNUSED),
        lines=184_310,
        start_ticks=1200,
    )
    tables = {name: frame(table) for name, table in RECONSTRUCTED.items()}
    system = System(clocks=(Clock(hz=1_000_000, bits=32),), order="higher_first")
    timeline = Timeline(log=log, system=system, span_ns=12_400 * MS, lost_events=0, **tables)
    return replace(timeline, **changes)


def empty_analysis(timeline: Timeline | None = None, **changes: Any) -> Analysis:
    """Every table empty, nothing found."""
    timeline = timeline or empty_timeline()
    tables = {name: frame(table) for name, table in MEASURED.items()}
    analysis = Analysis(
        timeline=timeline,
        window=(0, timeline.span_ns),
        quality=Quality(
            events=184_302,
            lines=184_310,
            boots=1,
            lost_events=0,
            contradictions=0,
            repairs=0,
            coverage=1.0,
        ),
        findings=(),
        **tables,
    )
    return replace(analysis, **changes)


def knitting() -> Analysis:
    """Two late tasks, an inversion, a thin stack, a little damage."""
    return empty_analysis(
        _timeline(),
        quality=Quality(
            events=184_302,
            lines=184_318,
            boots=2,
            lost_events=112,
            contradictions=2,
            repairs=3,
            coverage=0.99963,
        ),
        findings=FINDINGS,
        cores=frame(
            MEASURED["cores"],
            core=[0, 1],
            name=["main", "link"],
            load=[0.71234, 0.0412],
            load_low=[0.71201, 0.0412],
            load_high=[0.71261, 0.0412],
            peak_window_ns=[100 * MS, 100 * MS],
            peak_load=[0.9993, 0.117],
            peak_at_ns=[8_100 * MS, 3_200 * MS],
            isr=[0.021, 0.001],
            task=[0.6733, 0.0392],
            idle=[0.28766, 0.9588],
            asleep=[0.0, 0.0],
            switching=[0.01767, 0.001],
            unknown=[0.00037, 0.0],
            wakeups=[0, 0],
        ),
        tasks=_tasks(),
        isrs=frame(
            MEASURED["isrs"],
            isr=["carriage_encoder"],
            count=[49_600],
            load=[0.0208],
            execution_ns=[257_920 * US],
            run_min_ns=[4 * US],
            run_mean_ns=[5_200],
            run_max_ns=[19 * US],
            latency_min_ns=[1 * US],
            latency_mean_ns=[1_480],
            latency_p50_ns=[1 * US],
            latency_p95_ns=[3 * US],
            latency_p99_ns=[7 * US],
            latency_max_ns=[31 * US],
        ),
        locks=frame(
            MEASURED["locks"],
            lock=["flash_bus"],
            protocol=["none"],
            holds=[3_102],
            hold_max_ns=[1_904 * US],
            hold_mean_ns=[212_400],
            own_max_ns=[610 * US],
            contentions=[88],
            wait_max_ns=[1_843 * US],
            wait_total_ns=[9_120 * US],
        ),
        queues=frame(
            MEASURED["queues"],
            queue=["row_queue"],
            depth=[8],
            most_items=[7],
            most_at_ns=[3_201_877 * US],
            sends=[6_200],
            receives=[6_199],
            item_wait_p50_ns=[310 * US],
            item_wait_max_ns=[11_400 * US],
        ),
        chains=frame(
            MEASURED["chains"],
            chain=["stitch"],
            path=[["carriage_encoder", "needle_select", "solenoid"]],
            instances=[6_190],
            latency_p50_ns=[880 * US],
            latency_max_ns=[3_020 * US],
            deadline_ns=[2_500 * US],
            deadline_misses=[2],
        ),
        ledgers=pl.DataFrame(LEDGERS, schema=MEASURED["ledgers"].schema(), orient="row"),
        phases=frame(
            MEASURED["phases"],
            phase=["row", "row", "setup"],
            start_ns=[2 * S, 5 * S, 0],
            end_ns=[3 * S, 6 * S, 1 * S],
        ),
        masked=frame(
            MEASURED["masked"],
            core=[0],
            what=["irq"],
            count=[812],
            longest_ns=[29 * US],
            total_ns=[5_100 * US],
            longest_who=["archive"],
            longest_at_ns=[8_121_004 * US],
        ),
    )


FINDINGS = (
    Finding(
        "error",
        "needle_select",
        "needle_select was late 3 times in 6200 jobs, by up to 612 µs; archive held flash_bus "
        "while link ran",
        8_121 * MS,
        "late",
        {"misses": 3, "worst_us": 612.0},
    ),
    Finding("note", "log", "no deadline is declared for archive", None, "undeclared", {}),
    Finding(
        "warning",
        "archive",
        "the stack of archive has 64 of 1024 bytes left and was still falling",
        11_870_113 * US,
        "stack",
        {"free": 64},
    ),
)

LEDGERS = (
    (4060, "execution", "needle_select", None, 310 * US),
    (4060, "blocked", "archive", "flash_bus", 1_191 * US),
    (4060, "inversion", "link", "flash_bus", 652 * US),
    (4060, "isr", "carriage_encoder", None, 210 * US),
    (4060, "switching", None, None, 49 * US),
    (4061, "backlog", None, None, 1_800 * US),
    (4061, "execution", "needle_select", None, 100 * US),
    (9000, "interference", "needle_select", None, 9 * MS),
    (9000, "execution", "panel", None, 3 * MS),
)


def _timeline() -> Timeline:
    timeline = empty_timeline(
        jobs=frame(
            RECONSTRUCTED["jobs"],
            job_id=[4060, 4061, 9000, 9001],
            task=["needle_select", "needle_select", "panel", "panel"],
            job=[4060, 4061, 124, 125],
            release_ns=[8_121 * MS, 8_123 * MS, 12_388 * MS, 12_399 * MS],
            start_ns=[8_121_050 * US, 8_124_800 * US, 12_397 * MS, None],
            end_ns=[8_123_412 * US, 8_124_900 * US, 12_400 * MS, 12_400 * MS],
            status=["complete", "complete", "open", "open"],
            inferred=[False, True, False, False],
            hidden=[0, 0, 0, 0],
            execution_ns=[310 * US, 100 * US, 3 * MS, 0],
            deadline_ns=[1_800 * US, 1_800 * US, 10 * MS, 10 * MS],
            response_ns=[2_412 * US, 1_900 * US, 12 * MS, 1 * MS],
            late=[True, True, True, False],
        ),
        inversions=frame(
            RECONSTRUCTED["inversions"],
            inversion_id=[0, 1],
            kind=["direct", "push_through"],
            victim=["needle_select", "link"],
            lock=["flash_bus", "flash_bus"],
            chain=[["archive"], ["archive", "needle_select"]],
            start_ns=[8_121_100 * US, 9_000_003 * US],
            end_ns=[8_122_943 * US, 9_000_043 * US],
            holder_ns=[1_191 * US, 40 * US],
            third_party_ns=[652 * US, 0],
            raised=[False, True],
            job_id=[4060, None],
        ),
        third_parties=frame(
            RECONSTRUCTED["third_parties"], inversion_id=[0], task=["link"], ns=[652 * US]
        ),
        deadlocks=frame(
            RECONSTRUCTED["deadlocks"],
            at_ns=[12_000 * MS],
            tasks=[["panel", "archive"]],
            locks=[["flash_bus", "row_queue"]],
        ),
        contradictions=frame(
            RECONSTRUCTED["contradictions"],
            part=[0, 0],
            line=[118, 204],
            core=[0, 0],
            ran=["link", "panel"],
            acted=["archive", "link"],
            start_ns=[1 * S, 2 * S],
            end_ns=[1_002 * MS, 2_001 * MS],
        ),
        repairs=frame(
            RECONSTRUCTED["repairs"],
            part=[0, 0, 0],
            line=[77, 91, 1200],
            reason=["handler did not leave", "wake not recorded", "handler did not leave"],
        ),
        lost_events=112,
    )
    unused = pl.DataFrame(
        [
            ("not an event of this format", 12, ["31", "32", "33", "34", "35"]),
            ("torn", 4, ["184318"]),
        ],
        schema=UNUSED,
        orient="row",
    )
    log = replace(
        timeline.log,
        lines=184_318,
        unused=unused,
        restarts=(6 * S,),
        warnings=("nothing was recorded for 2.1 s before 7.000 s",),
    )
    system = replace(
        timeline.system,
        run={"build": "4f2c9e", "board": "bench3"},
        unknown=(((0, 9), "key 'colour' of #task"),),
        differences=(
            "needle_select: the log declares a deadline of 2000 µs, the system file 1800",
        ),
    )
    return replace(timeline, log=log, system=system)


def _tasks() -> pl.DataFrame:
    return frame(
        MEASURED["tasks"],
        task=["needle_select", "link", "panel", "archive", "idle0"],
        priority=[6, 4, 3, 2, 0],
        idle=[False, False, False, False, True],
        load=[0.162, 0.231, 0.0481, 0.301, 0.28766],
        execution_ns=[2 * S, 2_864 * MS, 596 * MS, 3_732 * MS, 3_567 * MS],
        job_execution_min_ns=[250 * US, 800 * US, 1 * MS, 20 * MS, None],
        job_execution_mean_ns=[324_100, 2_310 * US, 4_810 * US, 30_100 * US, None],
        job_execution_max_ns=[611 * US, 2_950 * US, 6_002 * US, 41 * MS, None],
        jobs=[6_200, 1_240, 124, 124, 0],
        jobs_open=[0, 0, 1, 1, 0],
        jobs_excluded=[4, 1, 1, 0, 0],
        jobs_aborted=[0, 0, 0, 0, 0],
        jobs_inferred=[1, 0, 0, 0, 0],
        hidden=[0, 0, 0, 0, 0],
        response_min_ns=[255 * US, 805 * US, 1_200 * US, 21 * MS, None],
        response_mean_ns=[401_700, 3 * MS, 5 * MS, 48 * MS, None],
        response_p50_ns=[390 * US, 2_800 * US, 4_900 * US, 47 * MS, None],
        response_p95_ns=[702 * US, 4_444 * US, 7_100 * US, 61 * MS, None],
        response_p99_ns=[1_102 * US, 5_002 * US, 8_020 * US, 64 * MS, None],
        response_max_ns=[2_412 * US, 5_950 * US, 12 * MS, 70_123 * US, None],
        start_latency_max_ns=[1_702 * US, 3_111 * US, 9_001 * US, 30 * MS, None],
        release_jitter_ns=[12 * US, 130 * US, None, None, None],
        deadline_ns=[1_800 * US, 10 * MS, 10 * MS, None, None],
        deadline_misses=[2, 0, 1, 0, 0],
        longest_miss_run=[2, 0, 1, 0, 0],
        worst_10=[2, 0, 1, 0, 0],
        worst_job_id=[4060, 1, 9000, 2, None],
        stack_size_bytes=[1024, 2048, None, 1024, None],
        stack_least_free_bytes=[612, 1_033, None, 64, None],
        stack_headroom=[0.59766, 0.5044, None, 0.0625, None],
        stack_still_falling=[False, False, None, True, None],
    )
