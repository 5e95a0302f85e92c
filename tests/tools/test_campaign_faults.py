"""A slice of the campaign of faults, and that its judge notices what it is for."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tools import campaign_faults  # noqa: E402
from tools.campaign import fault_cases, fault_flights, fault_judge  # noqa: E402

CASE = next(case for case in fault_cases.FIRST if case.order == "silent barometer")


def test_the_quick_slice_of_the_campaign_finds_nothing(capsys):
    assert campaign_faults.main(["--quick", "--real", "0"]) == 0
    told = capsys.readouterr().out
    assert told.count(" ok\n") == 7 and "5 alone, 2 pairs" in told and "0 failed" in told


def test_a_flight_that_ends_early_is_a_failure(monkeypatch, capsys):
    def end(*_):
        raise ZeroDivisionError("somewhere")

    course = type("Broken", (), {"rows": lambda self, cases: ([], {}), "fly": end})()
    monkeypatch.setattr(campaign_faults, "_course", lambda *_: (course, []))
    assert campaign_faults.main(["--quick", "--real", "0"]) == 1
    assert "the loop ended: ZeroDivisionError: somewhere" in capsys.readouterr().out


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """A flight with a silent barometer, and one without."""
    base = tmp_path_factory.mktemp("campaign")
    course = fault_flights.Course(fault_flights.first_mission(), base / "course")
    rows, when = course.rows((CASE,))
    clean, _ = fault_flights.read(course.fly([], base / "clean")[0], [])
    image, sent = course.fly(rows, base / "faulty")
    return course, when, clean, *fault_flights.read(image, rows), sent


def judged(flown, change=lambda record: True, numbers=None):
    course, when, clean, records, own, _ = flown
    kept = [record for record in records if change(record)]
    return fault_judge.judge(kept, numbers or own, when, clean, course)


def is_event(record, name, subject=None):
    named = record.kind == "event" and fault_judge.EVENT_NAMES[record.values["code"]] == name
    return named and subject in (None, record.values["subject"])


def test_the_judge_is_content_with_what_the_logger_did(flown):
    assert judged(flown) == []
    assert fault_judge.silences(flown[5], flown[1], flown[0]) == []


@pytest.mark.parametrize("lost, words", [
    (lambda r: is_event(r, "device failed"), "is not said to fail"),
    (lambda r: is_event(r, "device returned"), "is not said to return"),
    (lambda r: r.kind == "motion" and r.time_ms % 1000 < 100, "motion records"),
    (lambda r: r.kind == "fix" and 200_000 < r.time_ms < 204_000, "fix records, not"),
    (lambda r: is_event(r, "phase changed", 3), "the last phase is falling"),
    (lambda r: is_event(r, "phase changed", 1), "the phases are falling, landed"),
])
def test_the_judge_notices_what_is_not_there(flown, lost, words):
    assert any(words in line for line in judged(flown, lambda record: not lost(record)))


def test_the_judge_notices_a_lost_block_and_a_silent_downlink(flown):
    course, when, _, _, numbers, sent = flown
    assert judged(flown, numbers={1: numbers[1][:5] + numbers[1][6:]}) == ["boot 1 lacks a block"]
    cut = [(begin, count) for begin, count in sent if not 100_000 < begin < 130_000]
    assert any("the downlink is silent" in line for line in fault_judge.silences(cut, when, course))


@pytest.mark.parametrize("kind, field, value, words", [
    ("pressure", "pressure_counts", 5, "have values during silent barometer"),
    ("air", "humidity_counts", None, "air.humidity_counts is missing"),
])
def test_the_judge_notices_a_stale_value_and_a_missing_one(flown, kind, field, value, words):
    course, when, clean, records, numbers, _ = flown
    start = when["climbing", CASE][0]
    changed = []
    for record in records:
        if record.kind == kind and start + 3_000 < record.time_ms < start + 6_000:
            record = fault_flights.Record(record.boot, kind, record.time_ms, {**record.values, field: value})
        changed.append(record)
    assert any(words in line for line in fault_judge.judge(changed, numbers, when, clean, course))
