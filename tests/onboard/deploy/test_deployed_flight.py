"""What loftbook deploy makes runs unchanged on real MicroPython, and its card holds what the tape says.

The card is read by tools/plain_decoder.py, which shares no code with the project.
"""

import importlib.util
import json
import re
import shutil
import zlib
from pathlib import Path

import numpy as np
import pytest
from deploying import DEMO_MISSION, deploy

from ground.mission import load_mission
from onboard.firmware.region import LogRegion
from onboard.simulator.cards import make_card
from onboard.simulator.deployed import run_deployed, stage_machine
from onboard.simulator.prepare import CARD_NAME, prepare
from protocol.table import DEVICES, EVENTS

DECODER = Path(__file__).resolve().parents[3] / "tools" / "plain_decoder.py"
spec = importlib.util.spec_from_file_location("plain_decoder", DECODER)
plain = importlib.util.module_from_spec(spec)
spec.loader.exec_module(plain)
plain.crc32 = zlib.crc32  # the decoder's own is proven by its tests, and slow

# What the demo's payload does not have. ROM codes: family, serial number, CRC-8 (Maxim application note 27).
EXTRAS = """
[[probes]]
name = "box"
rom = "281cb801000000c6"

[[probes]]
name = "battery"
rom = "28020304050600af"

[[switches]]
name = "light"
pin = 15
phases = ["waiting", "climbing"]
blink_on_ms = 200
blink_period_ms = 2000

[[switches]]
name = "camera"
pin = 10
above_m = 150
inverted = true

[downlink]
"""
LIGHT, CAMERA = 15, 10
SECONDS = 75
FLIGHT = "5f3a1c22"


class Image:
    """A card image as LogRegion reads it."""

    def __init__(self, path):
        self.data = path.read_bytes()

    def readblocks(self, number, buffer):
        buffer[:] = self.data[number * 512 : number * 512 + 512]


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """A folder with the deployed files of a payload that has all there is, the virtual machine, and a
    prepared flight that is in the air at once.
    """
    folder = tmp_path_factory.mktemp("deployed")
    text = DEMO_MISSION.read_text("utf-8").replace('chip = "nmea"', 'chip = "ubx"') + EXTRAS
    (folder / "mission.toml").write_text(text, "utf-8")
    code, output = deploy(folder / "mission.toml", "--to-folder", folder / "board", "--flight", FLIGHT)
    assert code == 0, output
    stage_machine(folder / "staged")
    prepare(load_mission(folder / "mission.toml"), 3, folder / "flight", wait_s=10.0)
    return folder


def power_up(base, flight, seconds=SECONDS, interpreter="unix", board="board"):
    return run_deployed(base / board, flight, base / "staged", seconds, interpreter)


@pytest.fixture(scope="module", params=["unix", "wasm"])
def flown(base, request, tmp_path_factory):
    flight = tmp_path_factory.mktemp("flown") / "flight"
    shutil.copytree(base / "flight", flight)
    return flight, power_up(base, flight, interpreter=request.param)


def records_of(flight):
    """{kind: [(tick, values), ...]} of all whole blocks on the card."""
    found = {}
    for _, what, header, records in plain.scan((flight / CARD_NAME).read_bytes()):
        if what == "block":
            for kind, tick, values in records:
                found.setdefault(kind, []).append((tick, values))
    return found


def tape_rows(flight, name):
    index = json.loads((flight / "tape.json").read_text())
    period_ms, columns, rows = index["streams"][name]
    return period_ms, np.fromfile(flight / f"{name}.i32", "<i4").reshape(rows, columns)


def near(rows, period_ms, tick, late_ms):
    """The rows from which a sample due at a tick may have come; the clock's 20 ppm are 2 ms here."""
    first = max(0, (tick - 2) // period_ms)
    return rows[first : (tick + late_ms + 2) // period_ms + 1].tolist()


def test_it_says_that_it_logs_and_goes_on_until_the_power_goes_off(flown):
    logging, room, done = flown[1]
    assert logging == f"loftbook: Napraforgo-1, flight {FLIGHT} is logging"
    assert re.fullmatch(r"loftbook: room for \d+ MB, about \d+ hours", room) and done == "done"


def test_pressure_on_the_card_is_the_tapes(flown):
    period_ms, rows = tape_rows(flown[0], "barometer")
    records = records_of(flown[0])["pressure"]
    assert len(records) > (SECONDS - 3) * 5 * 0.95
    for tick, values in records:
        candidates = near(rows, period_ms, tick, 30)
        assert values["pressure_counts"] in [row[0] for row in candidates]
        assert values["temperature_counts"] in [row[1] for row in candidates]


def test_motion_on_the_card_is_the_tapes(flown):
    period_ms, rows = tape_rows(flown[0], "motion")
    records = records_of(flown[0])["motion"]
    assert len(records) > (SECONDS - 3) * 10 * 0.95
    names = [f"{what}_{axis}_counts" for what in ("acceleration", "rate") for axis in "xyz"]
    for tick, values in records:
        sample = [values[name] for name in names]
        assert sample in [row[:3] + row[4:] for row in near(rows, period_ms, tick, 5)]


def sent_heights(flight):
    """Time of day in s -> height in m, None without a fix, of the GGA sentences on the tape."""
    found = {}
    for sentence in (flight / "gnss.bin").read_bytes().decode("latin-1").split("$"):
        fields = sentence.split(",")
        if fields[0].endswith("GGA") and fields[1]:
            hours, minutes, seconds = int(fields[1][:2]), int(fields[1][2:4]), float(fields[1][4:])
            found[hours * 3600 + minutes * 60 + seconds] = float(fields[9]) if fields[6] != "0" else None
    return found


def test_heights_on_the_card_are_those_that_the_receiver_sent(flown):
    sent = sent_heights(flown[0])
    fixes = [values for _, values in records_of(flown[0])["fix"]]
    assert len(fixes) > SECONDS - 6
    told = [(fix["time_of_day"], fix["height"]) for fix in fixes if fix["time_of_day"] is not None]
    assert told == list(sent.items())[: len(told)]  # none left out, from the first on
    assert sum(height is not None for _, height in told) > 30


def test_the_power_that_goes_off_takes_no_more_than_the_last_two_seconds_along(flown):
    last = max(tick for records in records_of(flown[0]).values() for tick, _ in records)
    assert last > SECONDS * 1000 - 2000


def test_every_probe_is_asked_by_its_rom_code(flown):
    period_ms, rows = tape_rows(flown[0], "onewire")
    records = records_of(flown[0])["probe"]
    assert {values["probe"] for _, values in records} == {1, 2}
    assert len(records) > SECONDS - 6  # both every two seconds
    for tick, values in records:
        words = [row[values["probe"] - 1] for row in near(rows, period_ms, tick, 30)]
        assert values["temperature_counts"] in words


def test_the_receiver_is_set_and_the_switches_work_and_nothing_fails(flown):
    records = records_of(flown[0])
    names = [dict(EVENTS)[values["code"]] for _, values in records["event"]]
    assert names[:5] == ["booted", "phase changed", "receiver set", "switch changed", "switch changed"]
    assert set(names[5:]) <= {"phase changed"}
    assert "text" not in records
    lines = (flown[0] / "outputs.csv").read_text().splitlines()
    levels = [tuple(map(int, line.split(","))) for line in lines]
    # Each is set at power-on, and once more when the logger makes its switches; inverted: off is high.
    assert [level for _, pin, level in levels if pin == CAMERA] == [1, 1, 0]
    assert [level for _, pin, level in levels if pin == LIGHT][:7] == [0, 0, 1, 0, 1, 0, 1]


def test_beacons_go_out_over_the_downlink(flown):
    found = plain.scan((flown[0] / "downlink.bin").read_bytes())
    kinds = [kind for _, what, _, records in found if what == "packet" for kind, _, _ in records]
    assert kinds.count("beacon") >= SECONDS // 10 - 1


@pytest.mark.parametrize("interpreter", ["unix", "wasm"])
def test_a_card_that_is_pulled_for_a_while_is_written_to_again(base, tmp_path, interpreter):
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    shutil.copy(Path(__file__).with_name("pulled_card.py"), base / "staged")
    words = run_deployed(base / "board", flight, base / "staged", 50, interpreter, "pulled_card.py")
    assert words[-1] == "done"
    records = records_of(flight)
    events = [
        (dict(EVENTS)[values["code"]], tick // 1000, values["detail"]) for tick, values in records["event"]
        if values["subject"] == DEVICES.index("card") and values["code"] in (3, 4, 5)
    ]
    failed, returned, lost = events
    assert failed[0] == "device failed" and 20 <= failed[1] < 23 and failed[2] == 19
    assert returned[0] == "device returned" and 35 <= returned[1] < 38
    assert lost[0] == "blocks lost" and 0 < lost[2] < 8
    ticks = sorted(tick for tick, _ in records["pressure"])
    assert ticks[-1] > 47_000
    assert max(np.diff(ticks)) < 15_000 - 5 * 1000  # five blocks waited
    missed = [values["missed_samples"] for _, values in records["health"]]
    assert sum(missed[1:]) == 0  # sampling went on all the while


def test_the_console_can_stop_the_logger_and_the_watchdog_lets_it(base, tmp_path):
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    shutil.copy(Path(__file__).with_name("stopped_logger.py"), base / "staged")
    words = run_deployed(base / "board", flight, base / "staged", None, "unix", "stopped_logger.py")
    assert words[2:] == [
        "loftbook: stopped from the console; nothing is logged until a reset, which comes by itself in half an hour",
        "done", "awake for 1780000", "watchdog reset",
    ]


def partitioned(volume):
    """The image of a card as one buys it: a table with one partition, which begins at 1 MB.

    Source: the layout of the partition table (master boot record), common practice, no source.
    """
    first, count = 2048, len(volume) // 512
    entry = b"\x00\x00\x00\x00\x06\x00\x00\x00" + first.to_bytes(4, "little") + count.to_bytes(4, "little")
    return bytes(446) + entry + bytes(48) + b"\x55\xaa" + bytes((first - 1) * 512) + volume


def empty_card(flight, megabytes, kind):
    """A card of so many MB whose log file is "empty" or was never made ("none", "partition")."""
    make_card(flight / CARD_NAME, megabytes, 0)
    if kind == "empty":
        return
    image = (flight / CARD_NAME).read_bytes()
    assert image.count(b"LOFTBOOKLOG") == 1
    image = image.replace(b"LOFTBOOKLOG", b"HOLIDAYSLOG")
    (flight / CARD_NAME).write_bytes(partitioned(image) if kind == "partition" else image)


@pytest.mark.parametrize(
    "megabytes, kind, log_megabytes", [(32, "none", 29), (96, "empty", 64), (24, "partition", 22)]
)
def test_a_card_without_a_log_gets_one_in_one_piece_and_only_once(
    base, tmp_path, megabytes, kind, log_megabytes
):
    """MicroPython's own FAT file system makes the file, through the driver and the card's commands."""
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    empty_card(flight, megabytes, kind)
    words = power_up(base, flight, 8)
    assert words[1] == f"loftbook: LOFTBOOK.LOG: {log_megabytes} MB"
    region = LogRegion(Image(flight / CARD_NAME))  # refuses a file that lies in pieces
    assert region.count * 512 >> 20 == log_megabytes
    before = Image(flight / CARD_NAME).data
    words = power_up(base, flight, 8)
    assert len(words) == 3 and "LOG" not in "".join(words)  # nothing about the file
    after = Image(flight / CARD_NAME).data
    log = region.start * 512
    assert after[:log] == before[:log]  # the file system's own structures did not change
    boots = {header["boot"] for _, what, header, _ in plain.scan(after) if what == "block"}
    assert boots == {1, 2}


def test_a_slow_card_gets_its_log_before_the_watchdog_bites(base, tmp_path):
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    empty_card(flight, 96, "empty")
    shutil.copy(Path(__file__).with_name("slow_card.py"), base / "staged")
    words = run_deployed(base / "board", flight, base / "staged", 120, "unix", "slow_card.py")
    power_on, logs = (int(word.split()[1]) for word in words if word.startswith(("power-on", "logs")))
    assert logs - power_on > 8  # s: longer than the watchdog waits
    assert words[-3].endswith("is logging") and words[-1] == "done"


def test_a_card_that_is_full_is_left_as_it_is_and_the_logger_goes_on_without(base, tmp_path):
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    make_card(flight / CARD_NAME, 16, 15.5)
    image = (flight / CARD_NAME).read_bytes()
    (flight / CARD_NAME).write_bytes(image.replace(b"LOFTBOOKLOG", b"HOLIDAYSLOG"))
    words = power_up(base, flight, 8)
    assert any("no room" in word for word in words)
    assert any("not onto the card" in word and "LOFTBOOK.LOG" in word for word in words)
    assert words[-1] == "done"


def test_a_card_without_a_file_system_is_left_as_it_is(base, tmp_path):
    flight = tmp_path / "flight"
    shutil.copytree(base / "flight", flight)
    (flight / CARD_NAME).write_bytes(bytes(16 << 20))
    words = power_up(base, flight, 8)
    assert any("format it as FAT32" in word for word in words)
    assert words[-1] == "done"
    assert not any(Image(flight / CARD_NAME).data)


@pytest.mark.parametrize(
    "section, key, value",
    [
        ("pins", "i2c_sda", None), ("rates", "pressure", 1), ("sensors", "barometer", ["abacus"]),
        ("payload", None, ""),
    ],
)
def test_a_configuration_that_cannot_be_used_is_told_and_the_watchdog_restarts_the_board(
    base, tmp_path, section, key, value
):
    shutil.copytree(base / "board", tmp_path / "board")
    shutil.copytree(base / "flight", tmp_path / "flight")
    settings = tmp_path / "board" / "loftbook.json"
    content = json.loads(settings.read_text())
    if key is None:
        content[section] = value
    elif value is None:
        del content[section][key]
    else:
        content[section][key] = value
    settings.write_text(json.dumps(content))
    words = power_up(base, tmp_path / "flight", None, board=tmp_path / "board")
    assert words[0].startswith("loftbook: cannot start: ") and "loftbook.json" in words[0]
    assert words[-1] == "watchdog reset"
