# The board's configuration: a JSON file made from mission.toml before the flight.

import json
from binascii import crc32, unhexlify

from protocol.constant import const

FILE_NAME = "loftbook.json"
_RATE_MIN_MS = const(10)
_RATE_MAX_MS = const(3600000)
_PARITY_MAX = const(64)


class Settings:
    """What the board must know.

    text: the content of the configuration file. Raises ValueError or KeyError if it is not one.
    Attributes: payload (name), flight (4 bytes), hash (CRC-32 of the file, 8 hexadecimal digits),
    rates (kind -> ms), sensors (role -> list: chip, words...), addresses (role -> number on the I2C bus),
    baud (of the GNSS receiver), parity (depth, rate), gnss_model (UBX dynamic model to set, or None),
    downlink (dict: baud, period_s, landed_s, low_battery_counts, low_battery_s, duty_permille; or None),
    switches (list of dicts as ground/mission/thresholds.py makes them), pins (of firmware/hardware.py).
    """

    def __init__(self, text):
        content = json.loads(text)
        self.payload = content["payload"]
        self.flight = unhexlify(content["flight"])
        self.hash = "{:08x}".format(crc32(text.encode()))
        self.rates = content["rates"]
        self.sensors = content["sensors"]
        self.addresses = content.get("addresses", {})
        self.baud = content["baud"]
        self.parity = content["parity"]
        self.gnss_model = content["gnss"]["model"] if "gnss" in content else None
        self.downlink = content.get("downlink")
        self.switches = content.get("switches", ())
        self.pins = content.get("pins", {})  # only hardware.py reads it
        if len(self.flight) != 4:
            raise ValueError("flight must be eight hexadecimal digits")
        if "\n" in self.payload or not self.payload:
            raise ValueError("payload must be a name on one line")
        for kind in self.rates:
            if not _RATE_MIN_MS <= self.rates[kind] <= _RATE_MAX_MS:
                raise ValueError("rate of " + kind + " must be 10 to 3600000 ms")
        depth, rate = self.parity
        if depth and not (1 <= depth <= _PARITY_MAX and 1 <= rate <= _PARITY_MAX):
            raise ValueError("parity must be [0, 0] or [depth, rate], each 1 to 64")
        if self.baud < 1200:
            raise ValueError("baud must be 1200 or more")
        wanted = self.downlink
        if wanted and not (wanted["baud"] >= 1200 and 1 <= wanted["duty_permille"] <= 1000):
            raise ValueError("downlink: baud must be 1200 or more, duty_permille 1 to 1000")
        if self.switches:
            from onboard.firmware.switch_check import check_switches  # memory is short: only if there are any

            check_switches(self.switches)


def load(path):
    """Read the configuration file. Raises OSError if it cannot be read, ValueError or KeyError as Settings does."""
    with open(path) as file:
        return Settings(file.read())
