"""The board's clock wraps after 6.2 days: nobody notices, neither in a minute nor in two days."""

import json

import pytest
from fault_board import SETTINGS, Board, boot, fly
from fault_card import Card
from fault_read import check, strange

from onboard.firmware import gnss_task, scheduler, store, upkeep
from protocol.tick import TICK_PERIOD

DAY_S = 86_400
# One sample of each a minute or two, so that two days have few enough.
RATES_MS = {
    "pressure": 60_000, "air": 60_000, "motion": 60_000, "power": 120_000, "health": 120_000,
    "manifest": 3_600_000,
}  # fmt: skip
SLOW = json.dumps({**json.loads(SETTINGS), "rates": RATES_MS})
FULL_SIZE = 60_000  # sectors


def flown(start_tick, until_s, settings=SETTINGS, receiver=True):
    card = Card(FULL_SIZE)
    board = Board(card, start_tick=start_tick)
    if not receiver:
        board.uart.says = lambda second: b""
    logger = boot(board, settings)
    fly(logger, board, 20)
    board.humidity.fail()
    fly(logger, board, 25)
    board.humidity.come_back()
    fly(logger, board, until_s)
    assert logger.scheduler.missed == 0
    logger.finish()
    return check(card, start_tick)


@pytest.mark.parametrize("before_ms", [20, 5_000, 22_000, 37_300, 59_900])
def test_a_wrap_in_the_middle_changes_nothing_but_the_ticks(before_ms):
    start = TICK_PERIOD - before_ms
    log, usual = flown(start, 60), flown(0, 60)
    assert strange(log, start_tick=start) == []
    ticks = [record.tick for record in log.records]
    assert any(tick >= start for tick in ticks) and any(tick < 60_000 for tick in ticks)
    assert [((r.tick - start) % TICK_PERIOD, r.kind, r.values) for r in log.records] == [
        (r.tick, r.kind, r.values) for r in usual.records
    ]


def test_two_days_across_the_wrap_have_every_sample(monkeypatch):
    # What looks at clock, card and receiver many times a second does so every few seconds here: the times are
    # as many, the steps are fewer.
    monkeypatch.setattr(scheduler, "_IDLE_MAX_MS", 10_000)
    monkeypatch.setattr(store, "CLOSE_AGE_MS", 30_000)
    monkeypatch.setattr(gnss_task, "_POLL_MS", 10_000)
    monkeypatch.setattr(upkeep, "_AGE_PERIOD_MS", 1_000)
    monkeypatch.setattr(upkeep, "_PHASE_PERIOD_MS", 10_000)
    start, seconds = TICK_PERIOD - DAY_S * 1000, 2 * DAY_S
    log = flown(start, seconds, SLOW, receiver=False)
    counts = log.counts()
    assert {kind: counts[kind] for kind in ("pressure", "air", "motion", "power", "health")} == {
        "pressure": seconds // 60, "air": seconds // 60, "motion": seconds // 60, "power": seconds // 120,
        "health": seconds // 120,
    }  # fmt: skip
    assert strange(log, start_tick=start) == []
    ticks = [(record.tick - start) % TICK_PERIOD for record in log.of("motion")]
    assert {round((b - a) / 1000) for a, b in zip(ticks, ticks[1:], strict=False)} == {60}
    assert log.device_events() == [("device failed", "gnss")] and log.events("blocks lost") == []
