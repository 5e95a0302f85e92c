"""From SI to the units that imperial-minded readers want beside them; exact factors.

Source: NIST Special Publication 811 (2008), appendix B. Each function takes a number or an
array, returns the same kind, and lets NaN through.
"""

METRES_PER_FOOT = 0.3048  # exact
METRES_PER_MILE = 1609.344  # exact, international mile
METRES_PER_SECOND_PER_MILE_PER_HOUR = 0.44704  # exact
PASCALS_PER_INCH_OF_MERCURY = 3386.389
KILOGRAMS_PER_POUND = 0.45359237  # exact


def feet(length_m):
    """Convert m to feet."""
    return length_m / METRES_PER_FOOT


def miles(length_m):
    """Convert m to international miles."""
    return length_m / METRES_PER_MILE


def miles_per_hour(speed_m_s):
    """Convert m/s to miles per hour."""
    return speed_m_s / METRES_PER_SECOND_PER_MILE_PER_HOUR


def feet_per_minute(speed_m_s):
    """Convert m/s to feet per minute."""
    return speed_m_s * 60 / METRES_PER_FOOT


def degrees_fahrenheit(temperature_degc):
    """Convert a temperature (not a difference) from degC to degF."""
    return temperature_degc * 1.8 + 32


def inches_of_mercury(pressure_hpa):
    """Convert hPa to conventional inches of mercury (0 degC): NIST SP 811, appendix B.8, 3386.389 Pa each."""
    return pressure_hpa * 100.0 / PASCALS_PER_INCH_OF_MERCURY


def pounds(mass_kg):
    """Convert kg to avoirdupois pounds."""
    return mass_kg / KILOGRAMS_PER_POUND
