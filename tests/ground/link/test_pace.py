"""A replay keeps the flight's own clock."""

import pytest

from ground.link.pace import Pace


class LazyClock:
    """A clock that only sleeping moves, and a sleep that is always late."""

    def __init__(self, late_s):
        self.now_s = 1000.0
        self.late_s = late_s

    def __call__(self):
        return self.now_s

    def sleep(self, seconds):
        self.now_s += seconds + self.late_s


@pytest.mark.parametrize("speed", [1.0, 10.0, 0.5])
def test_lateness_of_each_wait_does_not_add_up(speed):
    clock = LazyClock(late_s=0.004)
    pace = Pace(speed, clock, clock.sleep)
    pace.restart(5000)
    for tick_ms in range(5000, 605_001, 500):
        pace.wait_for(tick_ms)
    assert clock.now_s - 1000.0 == pytest.approx(600 / speed, abs=0.0041)


def test_speed_zero_never_waits():
    clock = LazyClock(late_s=0)
    Pace(0, clock, clock.sleep).wait_for(10**9)
    assert clock.now_s == 1000.0


def test_a_link_that_is_behind_does_not_wait_until_it_has_caught_up():
    clock = LazyClock(late_s=0)
    pace = Pace(1, clock, clock.sleep)
    pace.restart(0)
    clock.now_s += 10  # the port took so long
    pace.wait_for(9_000)
    assert clock.now_s == 1010.0
    pace.wait_for(12_000)
    assert clock.now_s == 1012.0
