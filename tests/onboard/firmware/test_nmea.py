"""The GNSS reader against published sentences and against noise."""

import random
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.firmware.nmea import NmeaReader, days_since_1970


class Heard:
    """Feeds a reader and keeps what it delivers."""

    def __init__(self, baud=9600):
        self.epochs = []
        self.reader = NmeaReader(baud, self._keep)

    def _keep(self):
        layout = self.reader.layout
        names = ("latitude", "longitude", "height", "speed", "course", "vertical_speed", "satellites",
                 "quality", "hdop", "day", "time_of_day")
        values = {}
        for name in names:
            value = layout.values[layout.index(name)]
            values[name] = None if value == layout.missing[layout.index(name)] else value / layout.divisor(name)
        self.epochs.append((self.reader.tick, values))

    def feed(self, text, now=10_000, piece=None):
        data = text if isinstance(text, bytes) else text.encode()
        piece = piece or len(data)
        for start in range(0, len(data), piece):
            part = data[start : start + piece]
            self.reader.feed(part, len(part), now)
        return self


def sentence(body):
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}\r\n"


# D. DePriest, "NMEA data", the classic example; check sums as printed there.
GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"


def test_the_classic_sentences_decode_as_published():
    heard = Heard().feed(GGA + RMC)
    heard.reader.finish()
    (_, values), = heard.epochs
    assert values["latitude"] == pytest.approx(48.1173, abs=2e-7)
    assert values["longitude"] == pytest.approx(11.5166667, abs=2e-7)
    assert values["height"] == 545.4
    assert values["satellites"] == 8 and values["quality"] == 1 and values["hdop"] == 0.9
    assert values["speed"] == pytest.approx(22.4 * 1852 / 3600, abs=0.005)  # knot: NIST SP 811
    assert values["course"] == 84.4
    assert values["time_of_day"] == 12 * 3600 + 35 * 60 + 19
    assert values["vertical_speed"] is None


def test_five_decimals_of_minutes_decode_as_published():
    # u-blox receiver description, GGA example.
    heard = Heard().feed("$GPGGA,092725.00,4717.11399,N,00833.91590,E,1,08,1.01,499.6,M,48.0,M,,*5B\r\n")
    heard.reader.finish()
    values = heard.epochs[0][1]
    assert values["latitude"] == pytest.approx(47.2852332, abs=2e-7)
    assert values["longitude"] == pytest.approx(8.5652650, abs=2e-7)
    assert values["height"] == 499.6


def test_south_and_west_are_negative():
    # Position of P. Bennett's NMEA FAQ (4916.45 N 12311.12 W) in a GGA; the south is ours.
    heard = Heard().feed(sentence("GNGGA,225444,4916.45,S,12311.12,W,1,08,1.0,-12.3,M,0.0,M,,"))
    heard.reader.finish()
    values = heard.epochs[0][1]
    assert values["latitude"] == pytest.approx(-49.2741667, abs=2e-7)
    assert values["longitude"] == pytest.approx(-123.1853333, abs=2e-7)
    assert values["height"] == -12.3


def test_the_vertical_speed_of_pubx_is_turned_upwards():
    # u-blox receiver description, PUBX,00: its example line, vertical velocity 0.007 m/s downwards, made -5.25.
    body = ("PUBX,00,081350.00,4717.113210,N,00833.915187,E,546.589,G3,2.1,2.0,0.007,77.52,-5.250,,0.92,1.19,"
            "0.77,9,0,0")
    heard = Heard().feed(sentence(body))
    heard.reader.finish()
    assert heard.epochs[0][1]["vertical_speed"] == 5.25


def test_an_epoch_ends_where_the_next_begins():
    later = sentence("GPGGA,123520,4807.040,N,01131.000,E,1,08,0.9,550.4,M,46.9,M,,")
    heard = Heard().feed(GGA + RMC + later)
    assert len(heard.epochs) == 1 and heard.epochs[0][1]["height"] == 545.4
    heard.reader.finish()
    assert heard.epochs[1][1]["height"] == 550.4 and heard.epochs[1][1]["speed"] is None


def test_a_receiver_without_a_fix_says_so_and_invents_nothing():
    heard = Heard().feed(sentence("GNRMC,,V,,,,,,,,,,N") + sentence("GNGGA,,,,,,0,00,99.99,,,,,,"))
    heard.reader.finish()
    (_, values), = heard.epochs
    assert values.pop("quality") == 0 and values.pop("satellites") == 0 and values.pop("hdop") == 25.4
    assert set(values.values()) == {None}


@pytest.mark.parametrize("piece", [1, 2, 7, 64])
def test_split_streams_read_the_same(piece):
    heard = Heard().feed(GGA + RMC, piece=piece)
    heard.reader.finish()
    assert heard.epochs[0][1]["height"] == 545.4 and len(heard.epochs) == 1


def test_a_wrong_check_sum_is_counted_and_not_believed():
    heard = Heard().feed(GGA.replace("545.4", "945.4") + RMC)
    heard.reader.finish()
    assert heard.reader.bad == 1
    assert heard.epochs[0][1]["height"] is None


def test_the_tick_is_that_of_the_first_character():
    heard = Heard(9600).feed(GGA, now=10_000)
    heard.reader.finish()
    assert heard.epochs[0][0] == 10_000 - len(GGA) * 10_000 // 9600


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400), st.integers(0, 2**32))
def test_noise_neither_stops_the_reader_nor_becomes_a_fix(noise, seed):
    heard = Heard().feed(noise, piece=random.Random(seed).randint(1, 64))
    heard.reader.finish()
    assert heard.epochs == []  # no noise of this size has a right check sum by chance
    heard.feed("\n" + GGA)
    heard.reader.finish()
    assert heard.epochs[-1][1]["height"] == 545.4


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_days_are_counted_as_the_calendar_does(day):
    assert days_since_1970(day.year, day.month, day.day) == (day - date(1970, 1, 1)).days


@given(st.integers(0, 179), st.integers(0, 59_999_99), st.booleans())
def test_every_longitude_is_kept_to_its_resolution(degrees, minutes, west):
    body = f"GNGGA,120000,0000.00000,N,{degrees:03d}{minutes / 1e5:08.5f},{'W' if west else 'E'},1,08,1.0,0.0,M,0,M,,"
    heard = Heard().feed(sentence(body))
    heard.reader.finish()
    expected = (degrees + minutes / 60e5) * (-1 if west else 1)
    assert heard.epochs[0][1]["longitude"] == pytest.approx(expected, abs=1.01e-7)



@pytest.mark.parametrize("body", [
    "GPGGA,123519,9107.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",  # latitude beyond 90
    "GPGGA,123519,4860.000,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",  # 60 minutes
    "GPGGA,123519,4807.038,X,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",  # no hemisphere
    "GPGGA,123519,4807.038,N,01131.000,E,300,08,0.9,545.4,M,46.9,M,,",  # no such quality
    "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,945400000,M,46.9,M,,",  # beyond the moon
    "GPGGA,253519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",  # 25 o'clock
])
def test_a_sentence_with_an_impossible_number_is_dropped_whole(body):
    heard = Heard().feed(sentence(body))
    heard.reader.finish()
    assert heard.reader.bad == 1
    for _, values in heard.epochs:
        values.pop("time_of_day")
        assert set(values.values()) == {None}


def test_a_position_of_quality_zero_is_no_position():
    for order in ((GGA.replace(",E,1,", ",E,0,").replace("*47", "*46"), RMC), None):
        order = order or (RMC, GGA.replace(",E,1,", ",E,0,").replace("*47", "*46"))
        heard = Heard().feed("".join(order))
        heard.reader.finish()
        values = heard.epochs[0][1]
        assert values["quality"] == 0
        assert values["latitude"] is None and values["longitude"] is None and values["height"] is None
