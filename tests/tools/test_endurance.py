"""A slice of the long run, and that its judge notices what it is for."""

import json
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import tools.campaign_endurance as campaign  # noqa: E402
from onboard.simulator.board.tape import Tape  # noqa: E402
from protocol.tick import TICK_PERIOD  # noqa: E402
from tools.campaign.endurance_judge import heap_faults, judge  # noqa: E402
from tools.campaign.endurance_tape import PeriodicTape, Plan, civil  # noqa: E402

HOURS = 0.4
REAL_HOURS = 0.05


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """(folder, Verdict) of a flight in process."""
    folder = tmp_path_factory.mktemp("long") / "flight"
    verdict, _ = campaign.run("cpython", HOURS, folder)
    return folder, verdict


def says(folder, plan, second):
    sentences = PeriodicTape(Tape(str(folder)), Plan(plan)).sentences
    text = bytes(sentences.byte(i) for i in range(sentences.select(second))).decode()
    for line in text.splitlines():
        body, _, check = line[1:].partition("*")
        total = 0
        for byte in body.encode():
            total ^= byte
        assert int(check, 16) == total
    return {line.split(",")[0]: line.split(",") for line in text.splitlines()}


def test_a_day_number_is_the_date_that_the_standard_library_says():
    for days in (0, 59, 789, 11016, 20818, *range(13500, 21000, 97)):
        assert date(*civil(days)) == date(1970, 1, 1) + timedelta(days)


def test_the_long_flight_loses_nothing_and_keeps_its_time(flown):
    verdict = flown[1]
    assert verdict.failures == []
    assert verdict.hours == pytest.approx(HOURS, abs=0.001) and verdict.phases >= 3


def test_its_clock_wraps_and_its_receiver_tells_of_midnight_leap_second_and_a_wrong_week(flown):
    folder = flown[0]
    plan, tick = campaign.make_plan(HOURS)
    assert TICK_PERIOD - tick < plan["length_ms"]
    leap_s = plan["leap_s"]
    # ITU-R TF.460-6: 23:59:59, 23:59:60, 00:00:00.
    times = [says(folder, plan, leap_s + k)["$GNRMC"][1] for k in (-1, 0, 1)]
    assert times == ["235959.00", "235960.00", "000000.00"]
    dates = [says(folder, plan, second)["$GNRMC"][9] for second in (leap_s, leap_s + 1)]
    assert dates == ["311226", "010127"]
    early = says(folder, plan, plan["rollover_from_s"])
    assert early["$GNRMC"][9] == "180507"  # 1024 weeks before 2027-01-01, by Python's datetime
    assert early["$GNRMC"][1] == early["$GNGGA"][1] == early["$PUBX"][2]


@pytest.mark.parametrize(
    "change, words",
    [
        ({"start_s": 5}, "UTC is wrong by up to 5"),
        ({"length_ms": 60_000}, "samples where"),
    ],
)
def test_the_judge_notices_a_wrong_time_and_missing_samples(flown, change, words):
    folder = flown[0]
    plan, tick = campaign.make_plan(HOURS)
    index = json.loads((folder / campaign.INDEX_NAME).read_text("utf-8"))
    for name, more in change.items():
        plan[name] += more
    verdict = judge(folder / campaign.CARD_NAME, plan, index["length_ms"] // 1000, tick, index["drift_ppm"])
    assert any(words in failure for failure in verdict.failures)


def test_on_a_real_interpreter_the_heap_stays_as_it_is(tmp_path):
    verdict, line = campaign.run("wasm", REAL_HOURS, tmp_path / "flight")
    assert verdict.failures == [] and "heap" in line


def test_a_downlink_that_is_silent_or_sends_too_much_is_noticed(tmp_path):
    path = tmp_path / "times"
    path.write_text("".join(f"{1000 * k} 0 32\n{1000 * k + 267} 32 12\n" for k in range(0, 3600, 30)), "utf-8")
    heard = campaign.read_downlink(path, 1200)
    assert len(heard) == 120 and heard[1] == (30_000, 367)
    downlink = campaign.DOWNLINK
    assert campaign.downlink_faults(heard, downlink, 3_600_000) == []
    assert "silence of 1800 s" in campaign.downlink_faults(heard[:61], downlink, 3_600_000)[0]
    often = [(begin, 20 * long_ms) for begin, long_ms in heard]
    assert "of an hour on the air" in campaign.downlink_faults(often, downlink, 3_600_000)[0]
    assert campaign.downlink_faults([], downlink, 3_600_000)


def test_a_heap_that_grows_is_noticed():
    assert heap_faults([(minute, 80_000) for minute in range(40)]) == []
    assert heap_faults([(minute, 80_000 + 16 * minute) for minute in range(40)])
