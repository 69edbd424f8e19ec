"""The two questions in DuckDB's SQL."""

from pathlib import Path
from typing import Any

import duckdb

from tests.benchmarks.beside.declared import read_declared

LOAD = """
create table events as
with raw as (
    from read_csv($path, delim = ',', comment = '#', header = true, auto_detect = false, columns = {
        time: 'bigint', core: 'utinyint', event: 'varchar', subject: 'varchar', value: 'varchar'})
)
select core, event, subject, value,
    (time - (select min(time) from raw)) * 1000000000 // $hz as ns
from raw
"""

BUSY = """
with nested as (
    select rowid as n, core, event, subject, ns,
        sum(case event when 'enter' then 1 when 'leave' then -1 else 0 end) over along as depth
    from events
    where event in ('start', 'preempt', 'wait', 'terminate', 'enter', 'leave')
    window along as (partition by core order by rowid)
), spent as (
    select n, core, event, subject, depth,
        lead(ns, 1, (select max(ns) from events)) over along - ns as spent,
        last_value(case when event = 'start' then subject
                        when event not in ('enter', 'leave') then '' end ignore nulls)
            over along as task
    from nested
    window along as (partition by core order by n)
), occupied as (
    select task as id, spent from spent where depth = 0
    union all
    select last_value(if(event = 'enter', subject, null) ignore nulls)
        over (partition by core, depth order by n), spent
    from spent where depth > 0
)
select name, sum(spent)::bigint from occupied join declared using (id) where not idle group by name
"""

RESPONSES = """
with acts as (
    select events.rowid as n, event, subject, value, ns, by_queue,
        event <> 'release' and value = activation as ends
    from events join declared on subject = id
    where event in ('wait', 'release', 'receive')
), bounds as (
    select *, event = 'release' and lag(ends) over along as begins
    from acts where not by_queue and event <> 'receive'
    window along as (partition by subject order by n)
    qualify begins or ends
), released as (
    select subject, begins, ns as release, lead(ns) over (partition by subject order by n) as done
    from bounds
    qualify begins
), sent as (
    select value as queue, ns as release,
        row_number() over (partition by value order by rowid) as nth
    from events where event = 'send'
), taken as (
    select n, subject, value as queue, lead(ns) over (partition by subject order by n) as done
    from acts where by_queue and ends
    qualify event = 'receive'
), received as (
    select *, row_number() over (partition by queue order by n) as nth from taken
), jobs as (
    select subject, done - release as response from released
    union all
    select subject, done - release from received join sent using (queue, nth)
)
select name, count(*), quantile_disc(response, 0.5), quantile_disc(response, 0.99), max(response),
    count_if(response > deadline_ns)
from jobs join declared on subject = id
where response is not null
group by name
"""


def answers(path: Path) -> dict[str, Any]:
    declared = read_declared(path)
    things = [
        (id_, name, id_ in declared.idle, activation, activation in declared.queues, deadline)
        for id_, name in declared.names.items()
        for activation in [declared.activation.get(id_)]
        for deadline in [declared.deadline_ns.get(id_)]
    ]
    with duckdb.connect() as base:
        base.execute(
            "create table declared (id varchar, name varchar, idle bool, activation varchar, "
            "by_queue bool, deadline_ns bigint)"
        )
        base.executemany("insert into declared values (?, ?, ?, ?, ?, ?)", things)
        base.execute(LOAD, {"path": str(path), "hz": declared.hz})
        busy = dict(base.execute(BUSY).fetchall())
        responses = {task: row for task, *row in base.execute(RESPONSES).fetchall()}
    return {"busy": busy, "responses": responses}
