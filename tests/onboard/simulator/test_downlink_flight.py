"""A flight with a downlink, as the ground hears it: within the budget, and nothing but what the card says."""

import io
import json
import re
import shutil
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from ground.decode import decode_flight, group_boots
from ground.link.follow import Follower
from ground.mission import load_mission
from ground.mission.sections import Downlink
from ground.recover import recover_sources
from onboard.firmware.settings import FILE_NAME
from onboard.simulator import runners
from onboard.simulator.board.modem import DOWNLINK_NAME, TIMES_NAME
from onboard.simulator.board.tape import LOW_NAME, SENTENCES_NAME, SENTENCES_ROW
from onboard.simulator.commands import DEMO_MISSION
from onboard.simulator.prepare import CARD_NAME, prepare
from protocol.packet import PACKET_OVERHEAD
from protocol.record import Layout

BAUD = 1200
BARE = Layout("beacon").size + PACKET_OVERHEAD  # bytes of a packet with nothing but the beacon


@dataclass
class Flown:
    folder: Path
    truth: object
    card: object  # decoded Flight
    link: object

    @property
    def writes(self):
        """Rows of (world time in ms, offset, bytes)."""
        return np.loadtxt(self.folder / TIMES_NAME, dtype=np.int64)

    def events(self):
        """(name, subject, detail) of all events on the card."""
        columns = self.card.tables["event"].columns
        return list(zip(columns["event"], columns["subject_name"], columns["detail"], strict=True))


def decoded(path):
    recovered = recover_sources([path])
    (boots,) = group_boots(recovered.boots).values()
    return decode_flight(boots)


def fly(folder, truth):
    runners.run_in_process(folder)
    return Flown(folder, truth, decoded(folder / CARD_NAME), decoded(folder / DOWNLINK_NAME))


def mission_with(burst_diameter_m=None, **wanted):
    mission = load_mission(DEMO_MISSION)
    if burst_diameter_m:
        mission = replace(mission, balloon=replace(mission.balloon, burst_diameter_m=burst_diameter_m))
    downlink = Downlink(baud=BAUD, low_battery_mv=0, **wanted)
    return replace(mission, gnss=replace(mission.gnss, chip="ubx"), downlink=downlink)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The whole demo flight, two and a half hours, with more beacons wanted than 2 % of the time allow."""
    folder = tmp_path_factory.mktemp("whole") / "flight"
    mission = mission_with(period_s=5, landed_period_s=2, duty_percent=2.0)
    return fly(folder, prepare(mission, 3, folder))


@pytest.fixture(scope="module")
def low_prepared(tmp_path_factory):
    """A low flight with a burst, not flown yet."""
    folder = tmp_path_factory.mktemp("low") / "prepared"
    mission = mission_with(1.87, period_s=10, landed_period_s=5, duty_percent=20.0)
    return folder, prepare(mission, 11, folder, wait_s=90.0, after_s=120.0)


def changed(low_prepared, tmp_path, receiver, **wanted):
    """The low flight with another receiver and other settings of the downlink."""
    folder, truth = low_prepared
    shutil.copytree(folder, tmp_path / "flight")
    for name, change in (("board.json", {"receiver": receiver}), (FILE_NAME, None)):
        path = tmp_path / "flight" / name
        content = json.loads(path.read_text("utf-8"))
        if change:
            content.update(change)
        else:
            content["downlink"].update(wanted)
        path.write_text(json.dumps(content), "utf-8")
    return fly(tmp_path / "flight", truth)


def test_no_hour_of_the_flight_has_more_air_time_than_its_share(whole):
    times_ms, _, counts = whole.writes.T
    total = np.concatenate([[0], counts.cumsum()])
    assert times_ms[-1] > 7_200_000  # more than two whole hours
    # A window that begins with any write; one that begins between two holds no more.
    ends = np.searchsorted(times_ms, times_ms + 3_600_000)
    air_s = (total[ends] - total[:-1]) * 10 / BAUD
    assert air_s.max() <= 0.02 * 3600
    assert air_s.max() > 0.95 * 0.02 * 3600  # and the share is used


def test_the_index_of_times_covers_every_byte_in_order(whole):
    times_ms, offsets, counts = whole.writes.T
    assert (np.diff(times_ms) > 0).all()
    assert offsets[0] == 0 and (offsets[1:] == (offsets + counts)[:-1]).all()
    assert offsets[-1] + counts[-1] == (whole.folder / DOWNLINK_NAME).stat().st_size
    # Nothing is on the line faster than it can be.
    assert (np.diff(times_ms) * BAUD / 10_000 >= counts[:-1] - 1).all()


def test_a_tight_budget_spreads_the_beacons_evenly(whole):
    ticks_ms = whole.link.tables["beacon"].columns["tick_ms"]
    assert np.diff(ticks_ms).max() < 1.3 * BARE * 10 / BAUD / 0.02 * 1000
    # Everything goes into beacons then: no fix rides along.
    assert set(whole.link.tables) == {"beacon"}


def test_every_beacon_says_what_the_card_says(whole):
    beacons = whole.link.tables["beacon"].columns
    fixes, power, event = (whole.card.tables[name].columns for name in ("fix", "power", "event"))
    good = np.flatnonzero(fixes["quality"] > 0)
    fixed = np.isfinite(beacons["latitude_deg"])
    assert fixed.sum() > 500 and (~fixed).sum() < 5
    at = good[np.searchsorted(fixes["tick_ms"][good], beacons["tick_ms"][fixed]) - 1]
    # The last fix before the beacon is the newest that was complete, or still on the line when it went out.
    same = fixes["latitude_deg"][at] == beacons["latitude_deg"][fixed]
    at = np.where(same, at, at - 1)
    for name in ("latitude_deg", "longitude_deg"):
        assert (fixes[name][at] == beacons[name][fixed]).all()
    assert (np.floor(fixes["height_m"][at]) == beacons["height_m"][fixed]).all()
    age_s = (beacons["tick_ms"][fixed] - fixes["tick_ms"][at]) // 1000
    assert (age_s == beacons["fix_age_s"][fixed]).all()
    changes = event["event"] == "phase changed"
    last = np.searchsorted(event["tick_ms"][changes], beacons["tick_ms"], side="right") - 1
    assert (event["subject_name"][changes][last] == beacons["phase"]).all()
    kept_v = np.interp(beacons["tick_ms"], power["tick_ms"], power["battery_V"])
    heard_v = beacons["battery_counts"] / 65535 * 3.3 * 3  # no manifest came: the counts stay counts
    assert np.abs(heard_v - kept_v).max() < 0.05  # the simulated supply has noise of its own


def test_with_its_model_set_the_receiver_reports_up_to_the_burst(whole):
    assert ("receiver set", "gnss", 8) in whole.events()
    assert whole.truth.burst.height_m > 20_000
    assert np.nanmax(whole.card.tables["fix"].columns["height_m"]) > whole.truth.burst.height_m - 100
    assert np.nanmax(whole.link.tables["beacon"].columns["height_m"]) > whole.truth.burst.height_m - 500


def test_without_it_the_receiver_would_have_no_fix_above_12_kilometres(whole):
    # u-blox, integration manual of the generation 10, "Dynamic platform": portable, at most 12000 m.
    usual, low = ((whole.folder / name).read_bytes() for name in (SENTENCES_NAME, LOW_NAME))
    rows = range(0, len(usual), SENTENCES_ROW)
    height_m = np.interp(np.arange(len(rows)), whole.truth.time_s, whole.truth.height_m)
    for height, row in zip(height_m, rows, strict=True):
        if height > 12_000:
            assert b"A," not in low[row : row + 40] and b"V," in low[row : row + 40]
        else:
            assert low[row : row + SENTENCES_ROW] == usual[row : row + SENTENCES_ROW]


def test_with_more_budget_the_same_records_as_on_the_card_come_down(low_prepared, tmp_path):
    flown = changed(low_prepared, tmp_path, "valset")
    assert ("receiver set", "gnss", 8) in flown.events()
    assert flown.link.payload == "Napraforgo-1" and flown.link.flight == flown.card.flight
    for kind, least in (("fix", 100), ("event", 5)):
        heard, kept = flown.link.tables[kind].columns, flown.card.tables[kind].columns
        assert len(heard["tick_ms"]) >= least
        rows = np.searchsorted(kept["tick_ms"], heard["tick_ms"])
        for name in heard:
            if kept[name].dtype.kind == "f":
                assert np.array_equal(kept[name][rows], heard[name], equal_nan=True)
            elif name not in ("utc", "gnss_utc"):  # fitted to fewer fixes
                assert (kept[name][rows] == heard[name]).all()
    beacons, power = flown.link.tables["beacon"].columns, flown.card.tables["power"].columns
    volts = np.interp(beacons["tick_ms"], power["tick_ms"], power["battery_V"])
    assert np.abs(beacons["battery_V"] - volts).max() < 0.05  # by the manifest that came down
    spaces_s = np.rint(np.diff(beacons["tick_ms"]) / 1000)
    landed = beacons["phase"][:-1] == "landed"
    assert landed.sum() > 5 and set(spaces_s[landed]) == {5.0} and set(spaces_s[~landed][1:-1]) == {10.0}


def test_a_low_battery_slows_the_beacons_and_a_deaf_receiver_is_told_of(low_prepared, tmp_path):
    flown = changed(low_prepared, tmp_path, "mute", low_battery_counts=34_600, low_battery_s=60)
    assert ("receiver not set", "gnss", 2) in flown.events()
    said = " ".join(flown.card.tables["text"].columns["message"])
    assert said.count("no position above 12 km") == 1
    beacons = flown.link.tables["beacon"].columns
    ticks_ms, counts = beacons["tick_ms"], np.rint(beacons["battery_V"] / 9.9 * 65535)
    first_low = np.flatnonzero(counts < 34_600)[0]
    spaces_s = np.rint(np.diff(ticks_ms) / 1000)
    assert first_low > 20 and set(spaces_s[1 : first_low - 1]) == {10.0}
    assert len(spaces_s) - first_low > 5 and (spaces_s[first_low:] == 60.0).all()


def test_the_follower_reads_the_capture_as_it_comes(low_prepared, tmp_path):
    flown = changed(low_prepared, tmp_path, "nav5")
    data = (flown.folder / DOWNLINK_NAME).read_bytes()
    now_s = 0.0
    follower = Follower(io.BytesIO(), clock=lambda: now_s)
    lines = []
    for time_ms, offset, count in flown.writes.tolist():
        while now_s < time_ms // 1000:
            now_s += 1
            lines.append(follower.line())
        follower.take(data[offset : offset + count])
    assert follower.bytes == len(data) and follower.bytes - follower.not_understood > 0.99 * len(data)
    spoken = lines[100:]
    assert not [line for line in spoken if "silence" in line or "no fix" in line]
    assert {line.split(", ")[1] for line in spoken} == {"waiting", "climbing", "falling", "landed"}
    assert any(", battery 5." in line for line in spoken)
    place = re.search(r"at (\S+) N (\S+) E", spoken[-1])
    assert float(place[1]) == pytest.approx(flown.truth.landing.latitude_deg, abs=2e-4)
    assert float(place[2]) == pytest.approx(flown.truth.landing.longitude_deg, abs=3e-4)
