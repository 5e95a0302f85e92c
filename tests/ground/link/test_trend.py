"""The rate of climb from the last heights, dense or sparse."""

from ground.link.trend import Trend


def rate(*readings):
    trend = Trend()
    for tick_ms, height_m in readings:
        trend.add(tick_ms, height_m)
    return trend.rate_m_s()


def test_old_readings_are_forgotten():
    assert rate(*[(1000 * s, 0) for s in range(30)], *[(1000 * s, 5 * (s - 30)) for s in range(30, 60)]) == 5


def test_two_readings_of_a_slow_beacon_give_a_rate():
    assert rate((0, 0), (60_000, 240), (120_000, 540)) == 5  # between the last two


def test_two_readings_with_a_long_silence_between_them_give_none():
    assert rate((0, 0), (600_000, 3000)) is None
