# The faulty board with outputs, and a short flight on it: 100 m until second 20, up by 50 m/s to 1600 m, down by
# 25 m/s, on the ground again from second 110. Runs on CPython and MicroPython.

import json

from bench_board import SETTINGS
from fault_board import Board, adc_reading

CAMERA, BUZZER, HEATER = 1, 2, 3  # numbers of the switches
CAMERA_PIN, BUZZER_PIN, HEATER_PIN = 15, 13, 12
# The outside thermometer reads 30000 and a count more each second (adc_reading): the heater is on until 30060.
HEATER_OFF_AT = 30060


def entry(pin, phases, conditions, **more):
    found = {
        "pin": pin, "inverted": 0, "without_data": 0, "phases": phases, "after_s": 0, "conditions": conditions,
        "blink": [0, 0],
    }  # fmt: skip
    found.update(more)
    return found


SWITCHES = [
    entry(CAMERA_PIN, [1, 2], [["height", 1000, 980, -1000, 100000]], until_landed_s=40),
    entry(BUZZER_PIN, [3], [], after_s=30, blink=[200, 2000]),
    entry(HEATER_PIN, [0, 1, 2, 3], [["outside", HEATER_OFF_AT - 30, HEATER_OFF_AT, 1, 65534]], inverted=1),
]  # fmt: skip


def settings(switches=SWITCHES):
    content = json.loads(SETTINGS)
    content["switches"] = switches
    for number in range(len(switches)):
        content["sensors"]["switch_" + str(number + 1)] = ["switch", switches[number]["pin"]]
    return json.dumps(content)


def height_m(second):
    if second < 20:
        return 100
    if second < 50:
        return 100 + 50 * (second - 20)
    return max(100, 1600 - 25 * (second - 50))


class Pin:
    """Keeps every change as (ms since power-on, level); can refuse to be set."""

    def __init__(self, clock, level):
        self._clock = clock
        self.changes = [(0, level)]
        self.fault = None

    def value(self, level):
        if self.fault:
            raise self.fault(5)
        self.changes.append((self._clock.world_ms(), level))


class SwitchBoard(Board):
    def __init__(self, card, height=height_m, refused=(), ground_test=False):
        Board.__init__(self, card, height)
        self.pins = {}
        self._refused = refused
        self._ground_test = ground_test

    def output(self, pin, level=0):
        if pin in self._refused:
            raise ValueError("no such pin")
        self.pins[pin] = Pin(self.clock, level)
        return self.pins[pin]

    def is_ground_test(self):
        return self._ground_test


def outside_counts(second):
    return adc_reading(second)
