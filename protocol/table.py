# The one definition of every record kind and field. The board packs from it, the ground
# derives its structures and arrays from it, and FORMAT.md's tables are generated from it:
# the comment beside a field is its meaning there.
#
# A kind is (number, name, fields); a field is one text "name wire divisor unit", as it stands in
# the manifest too (one text takes half the board's memory that a tuple takes); split_field takes
# it apart. The wire type is a struct code, always little-endian. value = stored integer / divisor,
# in the unit; divisors are whole numbers so that a scale has no rounding of its own. Kind 0 is
# never used: space that was set aside but not written reads as zeros.

FORMAT_VERSION = 1

KINDS = (
    (1, "manifest", (  # A piece of the log's description of itself
        "part B 1 1",  # number of this piece, from 0
        "parts B 1 1",  # number of pieces in the whole manifest
        "text 48s 1 1",  # UTF-8, the last piece padded with zero bytes
    )),
    (2, "pressure", (  # What the barometer said
        "pressure_counts I 1 count",  # raw pressure conversion
        "temperature_counts I 1 count",  # raw temperature conversion, of the chip itself
    )),
    (3, "air", (  # What the sensors outside the box said
        "temperature_counts H 1 count",  # raw reading of the outside thermometer
        "humidity_counts H 1 count",  # raw relative humidity word
        "humidity_temperature_counts H 1 count",  # raw temperature word of the humidity chip
    )),
    (4, "fix", (  # What the GNSS receiver said
        "latitude i 5000000 deg",  # WGS 84, north positive
        "longitude i 5000000 deg",  # WGS 84, east positive
        "height i 100 m",  # above mean sea level
        "speed H 100 m/s",  # over ground
        "course H 100 deg",  # over ground, clockwise from true north
        "vertical_speed h 100 m/s",  # upwards positive; missing if the receiver does not say
        "satellites B 1 1",  # satellites used
        "quality B 1 1",  # NMEA 0183 GGA quality indicator; 0 = no fix
        "hdop B 10 1",  # horizontal dilution of precision, 25.4 if larger
        "day H 1 d",  # UTC days since 1970-01-01
        "time_of_day I 1000 s",  # UTC since midnight; 86400.000 and more in a leap second
    )),
    (5, "motion", (  # What the accelerometer and gyroscope said, in the chip's own axes
        "acceleration_x_counts h 1 count",  # raw
        "acceleration_y_counts h 1 count",  # raw
        "acceleration_z_counts h 1 count",  # raw
        "rate_x_counts h 1 count",  # raw
        "rate_y_counts h 1 count",  # raw
        "rate_z_counts h 1 count",  # raw
    )),
    (6, "power", (  # Supply voltages and the warmth inside the box
        "battery_counts H 1 count",  # raw ADC reading
        "rail_counts H 1 count",  # raw ADC reading
        "board_temperature_counts h 1 count",  # raw reading of the thermometer on the board
    )),
    (7, "health", (  # How the logger itself is doing; counts are since the last health record
        "queue_fill B 1 1",  # closed blocks waiting for the card
        "missed_samples H 1 1",  # samples that were due and were not taken
        "write_time_last H 1000 s",  # time of the last block write
        "write_time_slowest H 1000 s",  # time of the slowest block write
        "card_errors H 1 1",  # block writes that the card refused
        "free_heap I 1 byte",  # free memory; missing on a simulated board
        "reset_cause B 1 1",  # why this boot began: machine.reset_cause()
    )),
    (8, "event", (  # Something happened
        "code B 1 1",  # which event, see the table of events
        "subject B 1 1",  # to what: a phase, a sensor, a switch
        "detail i 1 1",  # the number that goes with it
    )),
    (9, "text", (  # A piece of a short message
        "part B 1 1",  # number of this piece, from 0
        "parts B 1 1",  # number of pieces in the whole message
        "characters 24s 1 1",  # UTF-8, the last piece padded with zero bytes
    )),
    (10, "probe", (  # What one of the thermometers on the 1-Wire bus said
        "probe B 1 1",  # which one; the manifest's sensor probe_1 is 1
        "temperature_counts h 1 count",  # raw
    )),
    (11, "beacon", (  # The little that finds a payload, for the downlink; not on the card
        "latitude i 5000000 deg",  # of the last fix, WGS 84, north positive
        "longitude i 5000000 deg",  # of the last fix, WGS 84, east positive
        "height H 1 m",  # of the last fix, above mean sea level; 0 below it
        "fix_age H 1 s",  # since the last fix, 65534 if longer
        "phase B 1 1",  # the flight phase
        "battery_counts H 1 count",  # raw ADC reading
    )),
)

# Flight phases by number; a block's header and the event "phase changed" carry the number.
PHASES = ("waiting", "climbing", "falling", "landed")

# Sensors and devices by number; events about a sensor carry the number as their subject.
DEVICES = ("card", "barometer", "outside_temperature", "humidity", "motion", "gnss", "power", "probe", "downlink")

EVENTS = (
    (1, "booted"),  # subject: machine.reset_cause(); detail: blocks found on the card
    (2, "phase changed"),  # subject: the phase from now on; detail: height in m that decided it, 0 at boot
    (3, "device failed"),  # subject: the device; detail: error number
    (4, "device returned"),  # subject: the device; detail: failures counted until then
    (5, "blocks lost"),  # subject: the card; detail: closed blocks that found no room in the queue
    (6, "switch changed"),  # subject: the switch; detail: 1 on, 0 off
    (7, "card full"),  # subject: the card; detail: number of the block being filled, one of the last
    (8, "receiver set"),  # subject: the GNSS receiver; detail: the dynamic model that it acknowledged
    (9, "receiver not set"),  # subject: the GNSS receiver; detail: 1 it refused, 2 it did not answer
    (10, "ground test"),  # subject: 1 begun, 0 ended
)


def split_field(field):
    """Take a field's text apart: (name, wire type, divisor, unit)."""
    name, wire, divisor, unit = field.split(" ")
    return name, wire, int(divisor), unit


def event_code(name):
    """The code of an event, by name."""
    for code, event_name in EVENTS:
        if event_name == name:
            return code
    raise KeyError(name)
