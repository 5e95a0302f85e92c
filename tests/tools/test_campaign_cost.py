"""A slice of the cost campaign: a motion record against the same values as CSV text on the same interpreter."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from protocol.record import Layout  # noqa: E402
from tools import campaign_cost  # noqa: E402
from tools.campaign import power_machine  # noqa: E402

COUNT = 400


@pytest.fixture(scope="module")
def costs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cost")
    campaign_cost.stage(folder)
    machine = power_machine.Machine()
    return {way: campaign_cost.measure(machine, folder, way, "motion", COUNT) for way in ("records", "csv")}


def test_a_motion_record_keeps_its_targets(costs):
    assert campaign_cost.misses(costs["records"], costs["csv"]) == []


def test_a_record_leaves_next_to_nothing_on_the_heap_and_text_does(costs):
    # The CRC-32 of a block is a big integer on 32 bits: one a block.
    assert costs["records"].heap <= 3 < 100 < costs["csv"].heap


def test_the_bytes_that_were_counted_are_whole_blocks_of_records(costs):
    blocks = costs["records"].size * COUNT / 512
    assert blocks == round(blocks) and costs["records"].size > Layout("motion").size


def test_a_dear_record_misses_the_targets(costs):
    dear = replace(costs["records"], median=costs["csv"].median, worst=costs["csv"].worst, size=costs["csv"].size)
    assert len(campaign_cost.misses(dear, costs["csv"])) == 3
