"""A cut reads as the whole log does: the same job, response, ledger and inversions in both.

The comparison here is made with the tables of two readings, not with `cutting.compare`.
"""

from pathlib import Path

import polars as pl
import pytest

from tests.random_logs import random_log
from tracelens import cutting
from tracelens.errors import UsageError
from tracelens.log import read_bytes
from tracelens.measures.ledgers import ledger
from tracelens.model.results import Timeline
from tracelens.reading import read
from tracelens.reconstruct import reconstruct

ROOT = Path(__file__).parents[2]
LATE = {"knitting_inversion": 4, "knitting_full_queue": 48, "knitting_overloaded": 13}
"""Sample log → how many of its jobs are late; the others have none."""
RECORDINGS = ("kernel_healthy", "kernel_lossy", "kernel_wrap16", "two_cores_healthy")


def told(run: Timeline, job: dict, shift_ns: int) -> tuple:
    """What a run tells about a job: times from `shift_ns` on, ledger, inversions."""
    own = ledger(job["job_id"], run.episodes).drop("job_id")
    at = pl.col("start_ns", "end_ns") - shift_ns
    held_up = run.inversions.filter(pl.col("job_id") == job["job_id"]).with_columns(at)
    return (
        [job[key] and job[key] - shift_ns for key in ("release_ns", "start_ns", "end_ns")],
        [job[key] for key in ("task", "response_ns", "deadline_ns", "status", "late")],
        own.rows(),
        held_up.drop("inversion_id", "job_id").rows(),
    )


def assert_same(run: Timeline, job: dict, piece: cutting.Piece) -> Timeline:
    small = reconstruct(read_bytes(piece.text, "small.csv", strict=True))
    found = small.jobs.filter(
        (pl.col("task") == job["task"])
        & (pl.col("release_ns") == job["release_ns"] - piece.start_ns)
        & (pl.col("end_ns") == job["end_ns"] - piece.start_ns)
    ).to_dicts()
    assert len(found) == 1
    assert told(small, found[0], 0) == told(run, job, piece.start_ns)
    assert small.contradictions.height <= run.contradictions.height
    return small


def aim_at(job: dict) -> cutting.Aim:
    margin = min(job["response_ns"], 10_000_000)
    return cutting.Aim(job["release_ns"], job["end_ns"], (job["job_id"],), margin, "it")


def worst_first(run: Timeline) -> list[dict]:
    lateness = pl.col("response_ns") - pl.col("deadline_ns")
    return run.jobs.filter("late").sort(lateness, descending=True, maintain_order=True).to_dicts()


def some_at_night(names, long):
    """The parameters `names`, of which those in `long` take many seconds."""
    return [pytest.param(n, marks=pytest.mark.night) if n in long else n for n in names]


@pytest.mark.parametrize(
    "name", some_at_night(LATE, {"knitting_full_queue", "knitting_overloaded"})
)
def test_every_late_job_of_the_samples(name):
    run = read(ROOT / "sample_traces" / f"{name}.csv")
    assert run.jobs["late"].sum() == LATE[name]
    for number in range(1, LATE[name] + 1):
        aim = cutting.around_miss(run, number)
        job = run.jobs.row(aim.jobs[0], named=True)
        piece = cutting.cut_out(run, aim)
        assert_same(run, job, piece)
        margins = 2 * aim.margin_ns  # it begins where little is to be opened, up to so much earlier
        if not piece.extensions:
            assert piece.start_ns >= job["release_ns"] - margins - 1000
            assert piece.end_ns <= job["end_ns"] + aim.margin_ns


@pytest.mark.parametrize(
    "name", some_at_night(RECORDINGS, {"kernel_healthy", "kernel_lossy", "kernel_wrap16"})
)
def test_the_slowest_job_of_each_task_of_a_real_kernel(name):
    run = read(ROOT / "tests" / "recordings" / f"{name}.csv.gz")
    judged = run.jobs.filter((pl.col("status") == "complete") & (pl.col("response_ns") < 10**8))
    slowest = judged.sort("response_ns", descending=True).unique("task", maintain_order=True)
    for job in slowest.head(8).to_dicts():
        piece = cutting.cut_out(run, aim_at(job))
        assert_same(run, job, piece)
        assert piece.events < run.log.events.height / 20


@pytest.mark.parametrize("messy", [False, True], ids=["clean", "messy"])
@pytest.mark.parametrize("cores", [1, 2])
@pytest.mark.parametrize("seed", some_at_night(range(8), {4, 5, 6, 7}))
def test_random_logs(seed, cores, messy):
    text = random_log(seed, events=400, cores=cores, messy=messy)
    run = reconstruct(read_bytes(text.encode(), "random.csv"))
    judged = run.jobs.filter(pl.col("status") == "complete")
    for job in judged[:: max(1, judged.height // 4)].to_dicts():
        assert_same(run, job, cutting.cut_out(run, aim_at(job)))


def test_a_window_keeps_all_jobs_in_it():
    run = read(ROOT / "sample_traces" / "knitting_two_cores.csv")
    aim = cutting.between(run, 200_000_000, 230_000_000)
    piece = cutting.cut_out(run, aim)
    assert piece.jobs == len(aim.jobs) > 20
    for job in aim.jobs:
        assert_same(run, run.jobs.row(job, named=True), piece)
    assert piece.events < 700


def test_a_time_and_a_mark_keep_the_jobs_under_way():
    run = read(ROOT / "sample_traces" / "knitting_inversion.csv")
    first = run.log.events.filter(pl.col("event") == "mark")["time_ns"][0]
    for aim in (
        cutting.around_time(run, first, 2_000_000),
        cutting.around_mark(run, "needles_set", 2_000_000),
    ):
        assert "needle_select" in {run.jobs["task"][job] for job in aim.jobs}
        piece = cutting.cut_out(run, aim)
        for job in aim.jobs:
            assert_same(run, run.jobs.row(job, named=True), piece)


def test_lines_stand_as_in_the_whole_log():
    path = ROOT / "sample_traces" / "knitting_inversion.csv"
    whole = path.read_text().splitlines()
    run = read(path)
    piece = cutting.cut_out(run, cutting.around_miss(run, 1))
    events = [line for line in piece.text.decode().splitlines() if line[0].isdigit()]
    kept = events[piece.opening :]
    at = whole.index(kept[0])
    assert whole[at : at + len(kept)] == kept


def test_the_cut_says_where_it_comes_from():
    run = read(ROOT / "sample_traces" / "knitting_inversion.csv")
    piece = cutting.cut_out(run, cutting.around_miss(run, 1))
    small = read_bytes(piece.text, "small.csv")
    assert small.declared.run == run.log.declared.run
    assert "of knitting_inversion.csv" in small.declared.notes[-1]


def locks_held_twice() -> str:
    """t2 takes m1 twice and raises itself; at 40 t1 waits for m1; a cut from 45 on is forced."""
    return """#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=t1 name=high priority=9 deadline_us=30 activation=delay
#task id=t2 name=low priority=1 activation=delay
#task id=t3 name=mid priority=5 deadline_us=5 activation=delay
time,core,event,subject,value
0,0,start,t1,
0,0,wait,t1,delay
0,0,start,t3,
0,0,wait,t3,delay
0,0,start,t2,
5,0,request,t2,m1
5,0,lock,t2,m1
10,0,request,t2,m1
10,0,lock,t2,m1
40,0,release,t1,
40,0,start,t1,
41,0,request,t1,m1
41,0,wait,t1,m1
41,0,priority,t2,9
42,0,start,t2,
50,0,release,t3,
60,0,unlock,t2,m1
70,0,unlock,t2,m1
70,0,priority,t2,1
70,0,release,t1,
70,0,start,t1,
70,0,lock,t1,m1
75,0,unlock,t1,m1
80,0,wait,t1,delay
80,0,start,t3,
90,0,wait,t3,delay
90,0,start,t2,
99,0,wait,t2,delay
"""


def test_the_opening_holds_locks_as_often_as_they_were_taken_with_the_priority_they_gave():
    # mid is released at 50 while low holds m1 twice, raised by high's wait: push-through until 70.
    run = reconstruct(read_bytes(locks_held_twice().encode(), "twice.csv"))
    mid = run.jobs.filter(pl.col("task") == "mid").row(-1, named=True)
    assert ("blocked", "low", "m1", 20_000) in [
        tuple(row) for row in ledger(mid["job_id"], run.episodes).drop("job_id").rows()
    ]
    aim = cutting.Aim(mid["release_ns"], mid["end_ns"], (mid["job_id"],), 0, "mid")
    piece = cutting.cut_out(run, aim)
    assert (piece.start_ns, piece.extensions) == (42_000, 0)
    assert_same(run, mid, piece)


@pytest.mark.parametrize(
    ("aim", "said"),
    [
        (lambda run: cutting.around_miss(run, 5), "no such miss: found 5, expected 1 to 4"),
        (lambda run: cutting.around_miss(run, 0), "no such miss"),
        (lambda run: cutting.around_mark(run, "nothing"), "no such mark"),
        (lambda run: cutting.around_time(run, 10**15), "no such time"),
        (lambda run: cutting.between(run, 5, 5), "no such time"),
    ],
)
def test_what_is_not_there(aim, said):
    with pytest.raises(UsageError, match=said):
        aim(read(ROOT / "sample_traces" / "knitting_inversion.csv"))


def test_a_log_without_events():
    run = reconstruct(read_bytes(b"#tracelens 1\n#clock hz=1000\n", "empty.csv"))
    with pytest.raises(UsageError, match="nothing to cut"):
        cutting.cut_out(run, cutting.around_time(run, 0))
