"""Events in words: a switch is called by its name in the manifest."""

import numpy as np
import pytest

from ground.decode.texts import event_columns, subject_name
from protocol.table import event_code

SENSORS = {"barometer": ("ms5611", ()), "switch_1": ("camera", ("15",)), "switch_2": ("buzzer", ("13",))}


@pytest.mark.parametrize(
    ("event", "subject", "name"),
    [
        ("switch changed", 1, "camera"),
        ("switch changed", 2, "buzzer"),
        ("switch changed", 3, "switch 3"),  # a manifest that lacks it
        ("switch changed", float("nan"), ""),
        ("ground test", 1, "begun"),
        ("ground test", 0, "ended"),
        ("ground test", 7, ""),
        ("phase changed", 1, "climbing"),
    ],
)
def test_the_subject_of_an_event_has_its_name(event, subject, name):
    assert subject_name(event_code(event), subject, SENSORS) == name


def test_without_a_manifest_a_switch_has_its_number():
    event, subject = event_columns(np.array([6.0]), np.array([1.0]))
    assert (event.values[0], subject.values[0]) == ("switch changed", "switch 1")
