# The one definition of every record kind and field. The board packs from it, the ground
# derives its structures and arrays from it, and FORMAT.md's tables are generated from it:
# the comment beside a field is its meaning there.
#
# The table is one text, line by line as it stands in the manifest, because a board's memory is short:
# "kind number name" and, for each of its fields, "field name wire divisor unit". The wire type is a struct
# code, always little-endian. value = stored integer / divisor, in the unit; divisors are whole numbers so
# that a scale has no rounding of its own. Kind 0 is never used: space that was set aside but not written
# reads as zeros.
#
# KINDS, a tuple of (number, name, fields), each field "name wire divisor unit", EVENTS, a tuple of
# (code, name), and PHASES, a tuple of names, are the same as objects. They are made when they are asked for; the board never does.

FORMAT_VERSION = 1

KINDS_TEXT = (
    b"kind 1 manifest\n"  # A piece of the log's description of itself
        b"field part B 1 1\n"  # number of this piece, from 0
        b"field parts B 1 1\n"  # number of pieces in the whole manifest
        b"field text 48s 1 1\n"  # UTF-8, the last piece padded with zero bytes
    b"kind 2 pressure\n"  # What the barometer said
        b"field pressure_counts I 1 count\n"  # raw pressure conversion
        b"field temperature_counts I 1 count\n"  # raw temperature conversion, of the chip itself
    b"kind 3 air\n"  # What the sensors outside the box said
        b"field temperature_counts H 1 count\n"  # raw reading of the outside thermometer
        b"field humidity_counts H 1 count\n"  # raw relative humidity word
        b"field humidity_temperature_counts H 1 count\n"  # raw temperature word of the humidity chip
    b"kind 4 fix\n"  # What the GNSS receiver said
        b"field latitude i 5000000 deg\n"  # WGS 84, north positive
        b"field longitude i 5000000 deg\n"  # WGS 84, east positive
        b"field height i 100 m\n"  # above mean sea level
        b"field speed H 100 m/s\n"  # over ground
        b"field course H 100 deg\n"  # over ground, clockwise from true north
        b"field vertical_speed h 100 m/s\n"  # upwards positive; missing if the receiver does not say
        b"field satellites B 1 1\n"  # satellites used
        b"field quality B 1 1\n"  # NMEA 0183 GGA quality indicator; 0 = no fix
        b"field hdop B 10 1\n"  # horizontal dilution of precision, 25.4 if larger
        b"field day H 1 d\n"  # UTC days since 1970-01-01
        b"field time_of_day I 1000 s\n"  # UTC since midnight; 86400.000 and more in a leap second
    b"kind 5 motion\n"  # What the accelerometer and gyroscope said, in the chip's own axes
        b"field acceleration_x_counts h 1 count\n"  # raw
        b"field acceleration_y_counts h 1 count\n"  # raw
        b"field acceleration_z_counts h 1 count\n"  # raw
        b"field rate_x_counts h 1 count\n"  # raw
        b"field rate_y_counts h 1 count\n"  # raw
        b"field rate_z_counts h 1 count\n"  # raw
    b"kind 6 power\n"  # Supply voltages and the warmth inside the box
        b"field battery_counts H 1 count\n"  # raw ADC reading
        b"field rail_counts H 1 count\n"  # raw ADC reading
        b"field board_temperature_counts h 1 count\n"  # raw reading of the thermometer on the board
    b"kind 7 health\n"  # How the logger itself is doing; counts are since the last health record
        b"field queue_fill B 1 1\n"  # closed blocks waiting for the card
        b"field missed_samples H 1 1\n"  # samples that were due and were not taken
        b"field write_time_last H 1000 s\n"  # time of the last block write
        b"field write_time_slowest H 1000 s\n"  # time of the slowest block write
        b"field card_errors H 1 1\n"  # block writes that the card refused
        b"field free_heap I 1 byte\n"  # free memory; missing on a simulated board
        b"field reset_cause B 1 1\n"  # why this boot began: machine.reset_cause()
    b"kind 8 event\n"  # Something happened
        b"field code B 1 1\n"  # which event, see the table of events
        b"field subject B 1 1\n"  # to what: a phase, a sensor, a switch
        b"field detail i 1 1\n"  # the number that goes with it
    b"kind 9 text\n"  # A piece of a short message
        b"field part B 1 1\n"  # number of this piece, from 0
        b"field parts B 1 1\n"  # number of pieces in the whole message
        b"field characters 24s 1 1\n"  # UTF-8, the last piece padded with zero bytes
    b"kind 10 probe\n"  # What one of the thermometers on the 1-Wire bus said
        b"field probe B 1 1\n"  # which one; the manifest's sensor probe_1 is 1
        b"field temperature_counts h 1 count\n"  # raw
    b"kind 11 beacon\n"  # The little that finds a payload, for the downlink; not on the card
        b"field latitude i 5000000 deg\n"  # of the last fix, WGS 84, north positive
        b"field longitude i 5000000 deg\n"  # of the last fix, WGS 84, east positive
        b"field height H 1 m\n"  # of the last fix, above mean sea level; 0 below it
        b"field fix_age H 1 s\n"  # since the last fix, 65534 if longer
        b"field phase B 1 1\n"  # the flight phase
        b"field battery_counts H 1 count\n"  # raw ADC reading
)

# Flight phases by number; a block's header and the event "phase changed" carry the number.
PHASES_TEXT = b"waiting climbing falling landed"

# Sensors and devices by number; events about a sensor carry the number as their subject.
DEVICES = ("card", "barometer", "outside_temperature", "humidity", "motion", "gnss", "power", "probe", "downlink")

EVENTS_TEXT = (
    b"1 booted\n"  # subject: machine.reset_cause(); detail: blocks found on the card
    b"2 phase changed\n"  # subject: the phase from now on; detail: height in m that decided it, 0 at boot
    b"3 device failed\n"  # subject: the device; detail: error number
    b"4 device returned\n"  # subject: the device; detail: failures counted until then
    b"5 blocks lost\n"  # subject: the card; detail: closed blocks that found no room in the queue
    b"6 switch changed\n"  # subject: the switch; detail: 1 on, 0 off
    b"7 card full\n"  # subject: the card; detail: number of the block being filled, one of the last
    b"8 receiver set\n"  # subject: the GNSS receiver; detail: the dynamic model that it acknowledged
    b"9 receiver not set\n"  # subject: the GNSS receiver; detail: 1 it refused, 2 it did not answer
    b"10 ground test\n"  # subject: 1 begun, 0 ended
)


def __getattr__(name):
    from protocol import listed  # never on a board

    return getattr(listed, name)


def split_field(field):
    """Take a field's text apart: (name, wire type, divisor, unit)."""
    name, wire, divisor, unit = field.split(" ")
    return name, wire, int(divisor), unit


def _numbered(text, word, name):
    # The line "<word><number> <name>": (number, where the next line begins). Raises KeyError.
    ending = (" " + name + "\n").encode()
    end = text.find(ending)
    while end >= 0:
        start = text.rfind(b"\n", 0, end) + 1
        number = text[start + len(word) : end]
        if text[start : start + len(word)] == word and number.isdigit():
            return int(number), end + len(ending)
        end = text.find(ending, end + 1)
    raise KeyError(name)


def find_kind(name):
    """A kind, by name: (number, start, stop), its fields are the lines KINDS_TEXT[start:stop]. Raises KeyError."""
    number, start = _numbered(KINDS_TEXT, b"kind ", name)
    stop = KINDS_TEXT.find(b"kind ", start)
    return number, start, len(KINDS_TEXT) if stop < 0 else stop


def event_code(name):
    """The code of an event, by name. Raises KeyError."""
    return _numbered(EVENTS_TEXT, b"", name)[0]
