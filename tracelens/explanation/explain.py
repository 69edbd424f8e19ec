"""One job told from release to completion."""

from tracelens.explanation import jobs
from tracelens.explanation.backlog import backlog
from tracelens.explanation.records import Explanation
from tracelens.explanation.repairs import Told, repairs
from tracelens.explanation.shorter import shorter
from tracelens.explanation.stretches import episodes, picture, stretches, summed, told
from tracelens.explanation.usual import stories, usual
from tracelens.explanation.waits import deadlocks, lock_waits, waits
from tracelens.measures.ledgers import ledger
from tracelens.model.results import Timeline


def explain(run: Timeline, job_id: int) -> Explanation:
    """Everything that the run tells about one job, of any status.

    `run` is a whole run, not one cut to a window; `job_id` is a row of its table of jobs, as
    `choose.find_job` gives it.
    """
    job = jobs.job(run.jobs, job_id)
    table = jobs.of_task(run.jobs, job.task)
    rows = jobs.rows_by_job(ledger(job_id, run.episodes)).get(job_id, ())
    in_order = episodes(run.episodes, job_id)
    waiting = lock_waits(run, job, in_order)
    pieces = stretches(job, in_order, run.task_states, waiting)
    chains, left_out = waits(run, job, waiting)
    cycles = deadlocks(run, job, chains)
    earlier = backlog(job, table, run.episodes)
    without = shorter(job, rows)
    return Explanation(
        job=job,
        rows=rows,
        episodes=in_order.drop("job_id"),
        stretches=summed(pieces).drop("stretch"),
        told=told(pieces),
        picture=picture(job, in_order),
        waits=chains,
        waits_left_out=left_out,
        deadlocks=cycles,
        backlog=earlier,
        shorter=without,
        repairs=repairs(Told(run, job, rows, in_order, chains, cycles, earlier, without)),
        usual=usual(job, rows, table, run.episodes),
        late_jobs=int(table["late"].sum()),
        stories=stories(table, run.episodes),
    )
