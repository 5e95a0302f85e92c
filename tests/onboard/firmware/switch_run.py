# Runs the switches of switch_cases.json through their readings and prints every decision: a line a case, a
# character a reading. Runs on CPython and MicroPython; test_switches.py makes the cases and judges.
#
# A line of the file is a case: {"settings": entry of the configuration, "steps": [[phase, seconds, readings], ...]}

import gc
import json
import sys

gc.disable()
from onboard.firmware.switches import Switch  # noqa: E402


def decisions(case):
    switch = Switch(case["settings"], None)
    return "".join(["1" if switch.decide(step[0], step[1], step[2]) else "0" for step in case["steps"]])


with open(sys.argv[-1]) as file:
    while True:
        line = file.readline()
        if not line:
            break
        print(decisions(json.loads(line)))
        gc.collect()
