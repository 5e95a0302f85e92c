# The board's configuration: a JSON file made from mission.toml before the flight.

import json
from binascii import crc32, unhexlify

FILE_NAME = "loftbook.json"


class Settings:
    """What the board must know.

    text: the content of the configuration file. Raises ValueError or KeyError if it is not one.
    Attributes: payload (name), flight (4 bytes), hash (CRC-32 of the file, 8 hexadecimal digits),
    rates (kind -> ms), sensors (role -> list: chip, words...), baud (of the GNSS receiver).
    """

    def __init__(self, text):
        content = json.loads(text)
        self.payload = content["payload"]
        self.flight = unhexlify(content["flight"])
        self.hash = "{:08x}".format(crc32(text.encode()))
        self.rates = content["rates"]
        self.sensors = content["sensors"]
        self.baud = content["baud"]


def load(path):
    """Read the configuration file."""
    with open(path) as file:
        return Settings(file.read())
