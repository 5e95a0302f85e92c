"""The receiver's sentences, taken apart with nothing but string functions."""

from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from onboard.simulator.world.flight import fly
from onboard.simulator.world.gnss import angle_fields, gnss_sentences, sentence
from onboard.simulator.world.integrate import FlightError


def fields(line):
    """Check a line's frame and return its comma-separated fields."""
    assert line.startswith(b"$") and line[-3:-2] == b"*"
    body, _, check = line[1:].partition(b"*")
    total = 0
    for byte in body:
        total ^= byte
    assert check == b"%02X" % total
    return body.decode("ascii").split(",")


def taken_apart(epoch):
    """The three sentences of an epoch as lists of fields."""
    assert epoch.endswith(b"\r\n") and epoch.count(b"\r\n") == 3 and epoch.count(b"\n") == 3
    rmc, gga, pubx = (fields(line) for line in epoch.split(b"\r\n")[:3])
    assert (rmc[0], gga[0], pubx[:2]) == ("GNRMC", "GNGGA", ["PUBX", "00"])
    # Numbers of fields as in the u-blox 8 / M8 receiver description (address and data fields).
    assert (len(rmc), len(gga), len(pubx)) == (13, 15, 21)
    return rmc, gga, pubx


def degrees(text, letter):
    whole, minutes = text[: text.index(".") - 2], text[text.index(".") - 2 :]
    value = int(whole) + float(minutes) / 60.0
    return -value if letter in "SW" else value


@pytest.fixture(scope="module")
def parsed(epochs):
    return [taken_apart(epoch) for epoch in epochs]


def test_published_sentences_get_their_published_check_sum():
    # u-blox receiver description: examples of GGA, ZDA and PUBX,00 (poll).
    for line in (
        b"$GPGGA,092725.00,4717.11399,N,00833.91590,E,1,08,1.01,499.6,M,48.0,M,,*5B\r\n",
        b"$GPZDA,082710.00,16,09,2002,00,00*64\r\n",
        b"$PUBX,00*33\r\n",
    ):
        assert sentence(line[1:-5].decode()) == line


def test_there_is_one_epoch_a_second_with_its_own_time(parsed, truth):
    assert len(parsed) == int(truth.time_s[-1]) + 1
    clock = [rmc[1] for rmc, _, _ in parsed]
    assert clock[:12] == [""] * 12 and clock[12] == "092712.00"
    assert clock[180] == "093000.00"  # the release
    assert all(rmc[9] == "211126" for rmc, _, _ in parsed[12:])
    assert all(rmc[1] == gga[1] == pubx[2] for rmc, gga, pubx in parsed)


def test_the_first_fix_takes_about_35_seconds(parsed):
    quality = [gga[6] for _, gga, _ in parsed]
    first = quality.index("1")
    assert 33 <= first <= 38
    assert set(quality[first:]) == {"1"}
    for rmc, gga, pubx in parsed[:first]:
        assert rmc[2] == "V" and rmc[12] == "N" and rmc[3:9] == [""] * 6
        assert gga[2:6] == [""] * 4 and gga[6:8] == ["0", "00"] and gga[9] == ""
        assert pubx[8] == "NF"
    for rmc, _, pubx in parsed[first:]:
        assert rmc[2] == "A" and rmc[12] == "A" and pubx[8] == "G3"


def test_positions_scatter_about_the_truth_by_the_missions_noise(parsed, truth, mission):
    errors = []
    for second in range(60, len(parsed)):
        rmc, gga, pubx = parsed[second]
        place = degrees(gga[2], gga[3]), degrees(gga[4], gga[5])
        assert rmc[3:7] == gga[2:6] == pubx[3:7]
        index = second * 10
        line = Geodesic.WGS84.Inverse(truth.latitude_deg[index], truth.longitude_deg[index], *place)
        up = float(gga[9]) - truth.height_m[index]
        azimuth = np.radians(line["azi1"])
        errors.append((line["s12"] * np.sin(azimuth), line["s12"] * np.cos(azimuth), up))
    east, north, up = np.array(errors).T
    # Correlated over 60 s, 9000 s hold some 75 independent errors: their size is known to 10 %.
    for error, expected in ((east, 2.5), (north, 2.5), (up, 4.0)):
        assert error.std() == pytest.approx(expected, rel=0.3)
        correlation = np.corrcoef(error[:-60], error[60:])[0, 1]
        assert 0.1 < correlation < 0.6  # exp(-1) is 0.37
        assert abs(np.diff(error).std() - expected * np.sqrt(2.0 / 60.0)) < 0.3 * expected


def test_velocity_is_the_truths(parsed, truth):
    for second in range(60, len(parsed), 7):
        rmc, _, pubx = parsed[second]
        index = second * 10
        east, north = truth.velocity_east_m_s[index], truth.velocity_north_m_s[index]
        speed = np.hypot(east, north)
        # Knot: 1852 m an hour exactly (NIST SP 811).
        assert float(rmc[7]) * 1852.0 / 3600.0 == pytest.approx(speed, abs=0.45)
        assert float(pubx[11]) / 3.6 == pytest.approx(float(rmc[7]) * 1852.0 / 3600.0, abs=0.001)
        # Positive downwards in PUBX,00.
        assert -float(pubx[13]) == pytest.approx(truth.velocity_up_m_s[index], abs=0.4)
        if speed > 5.0:
            course = np.degrees(np.arctan2(east, north))
            assert abs((float(rmc[8]) - course + 180.0) % 360.0 - 180.0) < 4.0


def test_heights_are_above_the_sea_and_above_the_ellipsoid(parsed):
    for _, gga, pubx in parsed[60:]:
        assert gga[10:13] == ["M", "43.5", "M"]
        assert len(gga[9].split(".")[1]) == 1
        assert float(pubx[7]) - float(gga[9]) == pytest.approx(43.5, abs=0.051)


def test_satellites_and_dilution_are_those_of_an_open_sky(parsed):
    used = np.array([int(gga[7]) for _, gga, _ in parsed[60:]])
    dilution = np.array([float(gga[8]) for _, gga, _ in parsed[60:]])
    assert used.min() >= 8 and used.max() <= 14 and np.ptp(used) >= 3
    assert dilution.min() >= 0.7 and dilution.max() <= 1.4
    assert np.corrcoef(used, dilution)[0, 1] < -0.5


def test_above_its_ceiling_the_receiver_is_silent_about_the_place(truth, mission):
    limited = replace(mission, gnss=replace(mission.gnss, ceiling_m=18000.0))
    for second, epoch in enumerate(gnss_sentences(truth, limited, 1)):
        rmc, gga, pubx = taken_apart(epoch)
        if second > 60:
            expected = "0" if truth.height_m[second * 10] > 18000.0 else "1"
            assert gga[6] == expected
            assert (rmc[2], pubx[8]) == (("V", "NF") if expected == "0" else ("A", "G3"))
            assert rmc[1]  # the clock goes on


def test_the_date_changes_at_midnight(mission):
    late = replace(mission, launch=replace(mission.launch, utc="2027-12-31T23:59:00Z"))
    flight = fly(late, 1, wait_s=60.0, after_s=1.0)
    epochs = [taken_apart(epoch) for epoch in gnss_sentences(flight, late, 1)[110:130]]
    stamps = [(rmc[9], rmc[1]) for rmc, _, _ in epochs]
    assert stamps[9:11] == [("311227", "235959.00"), ("010128", "000000.00")]


def test_southern_and_western_places_have_their_letters(mission):
    # Buenos Aires province, about.
    south_west = replace(mission.launch, latitude_deg=-35.2, longitude_deg=-59.5)
    there = replace(mission, launch=south_west)
    rmc, gga, _ = taken_apart(gnss_sentences(fly(there, 1), there, 1)[100])
    assert (gga[3], gga[5]) == ("S", "W")
    assert degrees(gga[2], gga[3]) == pytest.approx(-35.2, abs=1e-4)
    assert degrees(gga[4], gga[5]) == pytest.approx(-59.5, abs=1e-4)


@given(st.floats(-180.0, 180.0))
def test_an_angle_reads_back_and_its_minutes_stay_below_60(value):
    text, letter = angle_fields(value, 3, "EW").split(",")
    assert len(text) == 11
    assert float(text[3:]) < 60.0
    # Half of 1e-5 minutes.
    assert degrees(text, letter) == pytest.approx(value, abs=0.5e-5 / 60.0 + 1e-12)


def test_the_same_seed_speaks_the_same_bytes(epochs, truth, mission):
    assert gnss_sentences(truth, mission, 1) == epochs
    assert gnss_sentences(truth, mission, 2) != epochs


def test_another_kind_of_receiver_is_refused(truth, mission):
    with pytest.raises(FlightError, match="gnss.chip 'other' is not simulated"):
        gnss_sentences(truth, replace(mission, gnss=replace(mission.gnss, chip="other")), 1)
