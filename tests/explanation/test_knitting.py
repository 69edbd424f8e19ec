"""The worst job of the knitting machine, against a count by hand of its lines in the log."""

import io
import json
from importlib.resources import files

import jsonschema
import pytest

from tests.explanation.telling import ledger, told
from tracelens.explanation import Explanation
from tracelens.report import explained, explained_json, markdown, text

SCHEMA = json.loads(files("tracelens.report").joinpath("explain-1.schema.json").read_text("utf-8"))

# Counted from the log, lines 582 to 630 (ticks are µs; t1 needle_select, t2 yarn_tension, t3
# pattern_fetch, t6 panel, t7 archive, i1 carriage_encoder):
#   40000 release t1; 40003 start t1; 40118 wait t1,m1; 44154 unlock t7,m1; 44157 start t1,
#   and the next `start` of the running t1, where its late job ended, at 44366.
# t1 runs     40003-40118 115, 44157-44366 209                                          = 324
# t6 runs     40121-40404 283, 40413-40500 87, 40737-40877 140, 40883-40933 50,
#             41536-41907 371, 41913-42387 474, 42393-42857 464, 42865-43346 481,
#             43353-43870 517, 43876-44137 261                                          = 3128
# t2 runs     40503-40734 231, 40936-41214 278                                          = 509
# t3 runs     41217-41392 175, 41398-41533 135                                          = 310
# t7 runs     44140-44154, the owner of m1 at last                                      = 14
# i1 runs     40404-40413 9, 40877-40883 6, 41392-41398 6, 41907-41913 6, 42387-42393 6,
#             42857-42865 8, 43346-43353 7, 43870-43876 6                               = 54
# switching   nine times 3: at 40000, 40118, 40500, 40734, 40933, 41214, 41533, 44137, 44154 = 27
BY_HAND = {
    ("inversion", "panel", "flash_bus"): 3128,
    ("inversion", "yarn_tension", "flash_bus"): 509,
    ("inversion", "pattern_fetch", "flash_bus"): 310,
    ("execution", "needle_select", None): 324,
    ("isr", "carriage_encoder", None): 54,
    ("switching", None, None): 27,
    ("blocked", "archive", "flash_bus"): 14,
}


@pytest.fixture(scope="module")
def worst() -> Explanation:
    return told("knitting_inversion")


def test_the_hand_count_is_the_response():
    assert sum(BY_HAND.values()) == 44366 - 40000


def test_the_worst_job_is_taken_without_being_named(worst):
    assert (worst.job.task, worst.job.number) == ("needle_select", 21)
    assert (worst.job.release_ns, worst.job.length_ns) == (40_000_000, 4_366_000)
    assert worst.job.lateness_ns == 2_566_000
    assert (worst.job.release_place, worst.job.end_place) == ((0, 582), (0, 630))


def test_its_ledger_is_the_hand_count(worst):
    assert ledger(worst.rows) == BY_HAND


def test_it_is_told_in_order(worst):
    assert [(s.doing, s.what, s.start_ns // 1000, s.end_ns // 1000) for s in worst.told] == [
        ("ready", None, 40000, 40003),
        ("runs", None, 40003, 40118),
        ("waits for lock", "flash_bus", 40118, 44154),
        ("ready", None, 44154, 44157),
        ("runs", None, 44157, 44366),
    ]


def test_the_lock_and_its_holder(worst):
    """t7 has it from 39266 to 44154, and executes 158 + 496 + 63 + 14 in that time."""
    (wait,) = worst.waits
    (holder,) = wait.holders
    assert (wait.kind, wait.lock, wait.start_ns, wait.end_ns) == (
        "wait",
        "flash_bus",
        40_118_000,
        44_154_000,
    )
    assert (holder.task, holder.took_ns, holder.gave_ns) == ("archive", 39_266_000, 44_154_000)
    assert holder.own_ns == 731_000
    assert holder.waits == ()


def test_what_would_have_had_to_be_shorter(worst):
    """Without all inversion on flash_bus, 3947: 419 are left of 1800. Nothing else suffices."""
    largest = worst.shorter.alone[0]
    assert (largest.left_ns, largest.early_ns) == (419_000, 1_381_000)
    assert worst.shorter.together == largest
    assert [case.early_ns >= 0 for case in worst.shorter.alone] == [True, False, False, False]


def test_the_repair_is_a_protocol_for_the_lock(worst):
    assert [(repair.kind, repair.subject) for repair in worst.repairs] == [
        ("protocol", "flash_bus")
    ]


def test_all_four_late_jobs_have_one_cause_two_of_them_through_the_job_before(worst):
    (story,) = worst.stories
    assert (story.entry, story.by, story.via) == ("inversion", "panel", "flash_bus")
    assert (story.jobs, story.through_backlog) == (worst.late_jobs, 2) == (4, 2)


def test_the_job_after_it_is_followed_back_to_it():
    """Job 22 is due at 42000, while job 21 runs on until 44366."""
    next_one = told("knitting_inversion", task="needle_select", number=22)
    assert next_one.backlog.jobs == 1
    assert next_one.backlog.first.job.number == 21
    assert ledger(next_one.backlog.first.rows) == BY_HAND
    assert ledger(next_one.rows)["backlog", None, None] == 2366
    assert next_one.repairs[0].kind == "first_job"


def test_the_mended_run_has_no_late_job_and_says_so():
    best = told("knitting_mended", task="needle_select")
    assert (best.shorter, best.repairs, best.stories) == (None, (), ())
    assert "It met its deadline of 1.80 ms" in explained.document(best).verdict


@pytest.mark.parametrize(
    ("name", "which"),
    [
        ("inversion", {}),
        ("backlog", {"task": "needle_select", "number": 22}),
    ],
)
def test_the_whole_telling(golden, name, which):
    page = io.StringIO()
    text.show(explained.document(told("knitting_inversion", **which)), page, 80)
    assert [line for line in page.getvalue().splitlines() if len(line) > 80] == []
    golden(f"{name}.txt", page.getvalue())


def test_the_overloaded_run(golden):
    page = io.StringIO()
    text.show(explained.document(told("knitting_overloaded")), page, 80)
    golden("overloaded.txt", page.getvalue())


def test_the_json_keeps_its_contract_and_has_the_hand_count(worst):
    document = json.loads(explained_json.encode(worst))
    jsonschema.validate(document, SCHEMA)
    assert {(r["entry"], r["by"], r["via"]): r["us"] for r in document["ledger"]} == BY_HAND
    assert document["job"]["release_line"] == {"part": 1, "line": 582}
    assert document["episodes"][0] == {
        "start_us": 40000,
        "end_us": 40003,
        "from_release_us": 0,
        "from_deadline_us": -1800,
        "entry": "switching",
        "by": None,
        "via": None,
    }


def test_the_schema_notices_a_missing_key(worst):
    document = json.loads(explained_json.encode(worst))
    del document["waits"][0]["holders"][0]["own_us"]
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    with pytest.raises(jsonschema.ValidationError, match="'own_us' is a required property"):
        jsonschema.validate(document, SCHEMA)


def test_the_drawing_keeps_its_lines_in_markdown(worst):
    """In a fence, each line as it is: the deadline stands above its place in the bar."""
    page = markdown.render(explained.document(worst))
    fence = page[page.index("```text\n") : page.index("\n```\n")].splitlines()
    assert fence[1].index("↓") == fence[2].index("|") == round(72 * 1800 / 4366)
