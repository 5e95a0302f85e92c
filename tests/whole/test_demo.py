"""The main job from end to end: what a damaged card of a whole flight still tells."""

import json
import re
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import geographiclib.geodesic
import pytest

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"


def moment(truth, name):
    """A true moment: UTC and position. Truth times are seconds after power-on."""
    found = truth[name]
    return datetime.fromisoformat(truth["start_utc"]) + timedelta(seconds=found["time_s"]), found


def apart_m(first, second):
    # GeographicLib (Karney 2013) as the judge of distances.
    return geographiclib.geodesic.Geodesic.WGS84.Inverse(
        first["latitude_deg"], first["longitude_deg"], second["latitude_deg"], second["longitude_deg"]
    )["s12"]


def test_the_greatest_height_is_within_20_m(summary, truth):
    assert abs(summary["statements"]["greatest_height"]["value"] - truth["greatest_height_m"]) < 20


@pytest.mark.parametrize("name, statement, tolerance_s", [
    ("release", "launch", 3), ("burst", "burst", 2), ("landing", "landing", 10),
])
def test_the_moments_are_found(summary, truth, name, statement, tolerance_s):
    utc, _ = moment(truth, name)
    stated = datetime.fromisoformat(summary["statements"][statement]["utc"])
    assert abs((stated - utc).total_seconds()) < tolerance_s


@pytest.mark.parametrize("name, statement", [("release", "launch"), ("burst", "burst"), ("landing", "landing")])
def test_the_places_are_within_30_m(summary, truth, name, statement):
    assert apart_m(summary["statements"][statement], truth[name]) < 30


def test_every_record_of_a_whole_block_comes_back_and_no_other(demo):
    assert re.search(r"^Records in whole blocks \d{5,}, missed 0\.$", demo[1], re.MULTILINE)
    assert re.search(r"^Records that were never written 0\.$", demo[1], re.MULTILINE)


def test_the_blocks_lost_are_those_that_were_hit(demo, summary):
    damage = json.loads((demo[0] / "damage.json").read_text("utf-8"))
    ledger = json.loads((demo[0] / "recovered" / "ledger.json").read_text("utf-8"))
    lost = sum(loss["last_number"] - loss["first_number"] + 1 for loss in ledger["losses"])
    assert len(damage["flipped_bits"]) == 100 and len(damage["wiped_sectors"]) == 8
    # What parity alone must give back, judged from both images and the rule in FORMAT.md.
    before, after = ((demo[0] / name).read_bytes() for name in ("card-before.img", "card.img"))
    start = damage["zeroed_from_the_start"]
    hit = {
        place for place in range(damage["blocks_written"])
        if before[start + 512 * place : start + 512 * place + 512] != after[start + 512 * place : start + 512 * place + 512]
    }
    assert len(hit) == damage["blocks_no_longer_whole"]
    depth, rate = before[start + 6], before[start + 7]
    groups = Counter((place // (depth * (rate + 1)), place % depth) for place in hit)
    complete = damage["blocks_written"] // (depth * (rate + 1))
    data = [place for place in hit if place % (depth * (rate + 1)) < depth * rate]
    hard = [place for place in data if place // (depth * (rate + 1)) >= complete
            or groups[place // (depth * (rate + 1)), place % depth] > 1]
    assert len(data) > 50 and lost <= len(hard)


def test_the_ledger_balances(demo):
    ledger = json.loads((demo[0] / "recovered" / "ledger.json").read_text("utf-8"))
    at = 0
    for item in ledger["ranges"]:
        assert item["offset"] == at and item["length"] > 0
        at += item["length"]
    assert at == ledger["source"]["size"] == (demo[0] / "card.img").stat().st_size


def words_of(text):
    """A text without its numbers and its spacing: what does not depend on the last digit of a sine."""
    return re.sub(r"\s+", " ", re.sub(r"-?\d[\d .,:]*", "N ", text)).strip()


def test_the_readme_shows_what_the_demo_prints(demo):
    shown = re.search(r"<!-- demo output -->\n```\n(.*?)```", README.read_text("utf-8"), re.DOTALL)[1]
    assert words_of(shown) == words_of(demo[1].replace("flown/", "loftbook-demo/"))
