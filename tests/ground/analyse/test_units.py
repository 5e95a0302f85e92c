"""Conversions against NIST Special Publication 811 (2008), appendix B.8."""

import numpy as np
import pytest

from ground import units

# The guide's factors, "to convert from ... to ... multiply by"; those marked exact are in bold there.
FOOT_M = 3.048e-1  # foot (ft) to metre, exact
MILE_M = 1.609344e3  # mile (mi) to metre, exact
MILE_PER_HOUR_M_S = 4.4704e-1  # mile per hour to metre per second, exact
FOOT_PER_MINUTE_M_S = 5.08e-3  # foot per minute to metre per second, exact


def test_lengths_and_speeds_are_the_guides_exactly():
    assert units.feet(FOOT_M) == 1.0
    assert units.miles(MILE_M) == 1.0
    assert units.miles_per_hour(MILE_PER_HOUR_M_S) == 1.0
    assert units.feet_per_minute(FOOT_PER_MINUTE_M_S) == pytest.approx(1.0, rel=1e-15)


def test_the_temperature_scales_meet_where_they_should():
    # Guide, B.8: t/degC = (t/degF - 32)/1.8; the freezing and boiling points, and where both scales agree.
    np.testing.assert_allclose(units.degrees_fahrenheit(np.array([0.0, 100.0, -40.0])), [32, 212, -40])


def test_missing_stays_missing():
    for convert in (
        units.feet,
        units.miles,
        units.miles_per_hour,
        units.feet_per_minute,
        units.degrees_fahrenheit,
    ):
        assert np.isnan(convert(float("nan")))
