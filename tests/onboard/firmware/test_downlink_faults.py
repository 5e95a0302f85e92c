"""The downlink goes on without card, receiver or barometer, and the logger goes on without the downlink."""

import numpy as np
import pytest
from fault_board import SETTINGS, Board, boot, fly
from fault_card import Card
from fault_read import check

from ground.layout import OWN_KINDS
from ground.recover.packets import PacketFinder
from ground.recover.records import record_sizes
from protocol.table import DEVICES, EVENTS

WITH_DOWNLINK = SETTINGS[:-1] + """, "downlink": {"baud": 9600, "period_s": 5, "landed_s": 5,
"low_battery_counts": 0, "low_battery_s": 5, "duty_permille": 100}}"""
BY_NUMBER = {layout.number: layout for layout in OWN_KINDS}
EVENT_NAMES = dict(EVENTS)


class Port:
    """Keeps what is sent; `fault` is raised; each write takes so long."""

    def __init__(self, board):
        self._board = board
        self.sent = b""
        self.fault = None
        self.takes_ms = 0

    def write(self, buffer, offset, count):
        if self.fault:
            raise self.fault
        self._board.clock.spend_us(1000 * self.takes_ms)
        self.sent += bytes(buffer[offset : offset + count])
        return count


def board_with(card):
    board = Board(card)
    board.downlink = Port(board)
    return board


def heard(board):
    """Records by kind: lists of dicts of fields."""
    finder = PacketFinder()
    packets = finder.feed(board.downlink.sent) + finder.finish()
    assert finder.skipped == 0
    found = {layout.name: [] for layout in OWN_KINDS}
    sizes = record_sizes(OWN_KINDS)
    for packet in packets:
        at = 0
        while at < len(packet.records):
            layout = BY_NUMBER[packet.records[at]]
            found[layout.name].append(fields(layout, packet.records[at + 3 : at + sizes[layout.number]]))
            at += int(sizes[layout.number])
    return found


def fields(layout, payload):
    values = np.frombuffer(payload, layout.dtype)[0].item()
    return {
        f.name: None if value == f.missing else value / f.divisor
        for f, value in zip(layout.fields, values, strict=True) if f.missing is not None
    }  # fmt: skip


def events(board):
    return [
        (EVENT_NAMES[e["code"]], DEVICES[int(e["subject"])])
        for e in heard(board)["event"] if EVENT_NAMES[e["code"]].startswith("device")
    ]  # fmt: skip


def flown(board, seconds=60):
    logger = boot(board, WITH_DOWNLINK)
    fly(logger, board, seconds)
    logger.finish()


def test_without_a_card_the_downlink_says_so_and_tells_the_position():
    board = board_with(None)
    flown(board)
    assert events(board) == [("device failed", "card")]
    last = heard(board)["beacon"][-1]
    assert last["latitude"] == pytest.approx(47.032, abs=0.001) and last["height"] == 100
    assert last["fix_age"] <= 1 and last["phase"] == 0


@pytest.mark.parametrize("part", ["barometer", "humidity", "motion"])
def test_a_failed_sensor_is_told_at_once_and_the_position_goes_on(part):
    board = board_with(Card())
    getattr(board, part).fail()
    flown(board)
    assert ("device failed", part) in events(board)
    assert len(heard(board)["beacon"]) >= 11


def test_without_a_receiver_the_beacons_go_on_without_a_position():
    board = board_with(Card())
    board.uart.says = lambda second: b""
    flown(board)
    beacons = heard(board)["beacon"]
    assert len(beacons) >= 11
    assert {(b["latitude"], b["height"], b["fix_age"]) for b in beacons} == {(None, None, None)}
    assert all(30_000 <= b["battery_counts"] < 30_060 for b in beacons)
    assert ("device failed", "gnss") in events(board)


def test_the_age_of_the_fix_grows_when_the_receiver_falls_silent():
    board = board_with(Card())
    logger = boot(board, WITH_DOWNLINK)
    fly(logger, board, 20)
    board.uart.says = lambda second: b""
    fly(logger, board, 60)
    beacons = heard(board)["beacon"]
    assert 34 <= beacons[-1]["fix_age"] <= 40
    assert beacons[-1]["latitude"] == pytest.approx(47.032, abs=0.001)


def test_the_manifest_comes_whole_while_the_card_is_refused():
    card = Card()
    card.refuses = lambda number: True
    board = board_with(card)
    flown(board, 200)
    pieces = heard(board)["manifest"]
    assert {piece["part"] for piece in pieces} == set(range(int(pieces[0]["parts"])))


@pytest.mark.parametrize("fault", [OSError(5), ValueError("not written for this board")])
def test_a_port_that_raises_costs_the_log_nothing(fault):
    card = Card()
    board = board_with(card)
    board.downlink.fault = fault
    flown(board)
    log = check(card)
    assert len(log.of("motion")) == 600 and len(log.of("fix")) == 60
    assert {record.values["missed_samples"] for record in log.of("health")} == {0}
    if isinstance(fault, OSError):
        assert log.device_events() == [("device failed", "downlink")]
        assert log.messages() == []
    else:
        assert len(log.messages()) == 1 and log.messages()[0].startswith("DownlinkTask: ValueError")


def test_a_port_that_blocks_is_told_and_costs_a_few_samples_and_no_more():
    card = Card()
    board = board_with(card)
    board.downlink.takes_ms = 300
    flown(board, 90)
    log = check(card)
    assert log.device_events() == [("device failed", "downlink")]
    assert len(log.of("motion")) >= 880  # of 900: three writes of 300 ms
    assert len(log.of("air")) >= 88


def test_a_modem_that_comes_back_is_told_of():
    card = Card()
    board = board_with(card)
    board.downlink.fault = OSError(5)
    logger = boot(board, WITH_DOWNLINK)
    fly(logger, board, 20)
    board.downlink.fault = None
    fly(logger, board, 60)
    logger.finish()
    assert check(card).device_events() == [("device failed", "downlink"), ("device returned", "downlink")]
    assert ("device returned", "downlink") in events(board)
