"""Late chains in the report: stages and entries that add up to the latency, in text and JSON."""

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from tracelens.analysis import analyse
from tracelens.log import read
from tracelens.model.system import Chain
from tracelens.reconstruct import reconstruct
from tracelens.report import json_
from tracelens.report.lateness import LEAST_SHARE, late_chains

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "tracelens" / "report" / "report-1.schema.json").read_text())
CHAINS = (
    Chain("stitch", ("pattern_fetch", "row_worker"), 7_000_000),
    Chain("needles", ("mark:needles_set", "mark:needles_set"), 2_300_000),
    Chain("link", ("link_rx", "link"), 2_300_000),
    Chain("in time", ("link_rx", "link"), 2_300_000_000),
    Chain("unseen", ("link", "nobody"), 1),
)


@pytest.fixture(scope="module")
def analysis():
    log = read(ROOT / "sample_traces" / "knitting_inversion.csv")
    return analyse(reconstruct(log, replace(log.declared, chains=CHAINS)))


def test_the_stages_of_each_slowest_instance_add_up_to_its_latency(analysis):
    document = json.loads(b"".join(json_.chunks(analysis)))
    jsonschema.validate(document, SCHEMA)
    assert [chain["name"] for chain in document["chains"]] == [chain.name for chain in CHAINS]
    for chain in document["chains"][:-1]:
        worst = chain["worst"]
        assert worst["latency_us"] == chain["latency_us"]["max"]
        assert [stage["stage"] for stage in worst["stages"]] == (
            chain["path"] if chain["name"] != "needles" else chain["path"][:1]
        )
        assert sum(stage["us"] for stage in worst["stages"]) == pytest.approx(worst["latency_us"])
        for stage in worst["stages"]:
            assert sum(entry["us"] for entry in stage["ledger"]) == pytest.approx(stage["us"])
    assert document["chains"][-1]["worst"] is None


def test_the_section_shows_the_late_ones_by_stage_and_what_took_long_in_each(analysis):
    _, stages, entries, _ = late_chains(analysis).blocks
    assert [row[:2] for row in stages.rows] == [
        ("stitch", "pattern_fetch"),
        ("", "row_worker"),
        ("needles", "mark:needles_set"),
        ("link", "link_rx"),
        ("", "link"),
    ]
    for first, last in ((0, 2), (2, 3), (3, 5)):
        assert sum(row[-1] for row in stages.rows[first:last]) == pytest.approx(1)
    assert min(row[-1] for row in entries.rows) >= LEAST_SHARE


def test_without_a_late_chain_there_is_no_section(analysis):
    assert late_chains(replace(analysis, chains=analysis.chains[3:4])) is None
