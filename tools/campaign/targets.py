"""The parsers as a fuzzer sees them: functions of bytes that may raise nothing but what is documented.

Each target is (function, seeds). Errors that a parser documents are caught in here; anything else is a
finding.
"""

import os
from binascii import crc_hqx
from pathlib import Path
from random import Random
from struct import pack
from tempfile import TemporaryDirectory
from zlib import compressobj, crc32

import numpy as np
import zstandard

from ground.card.image_map import mapped_places
from ground.errors import LoftbookError
from ground.mission import load as mission
from ground.recover import PacketFinder, recover_source
from ground.recover.manifest import Pieces, parse_manifest
from onboard.firmware.nmea import NmeaReader
from onboard.simulator.world import sounding
from tools.campaign import captures, sources
from tools.campaign.written import manifest_text, write_log

_MEMORY = "/dev/shm"  # on Linux a folder in memory: no disk is worn
_given = os.environ.get("CAMPAIGN_FOLDER")
# The engine ends its process without cleaning up, so there the folder is given by the one that started it.
_own = None if _given else TemporaryDirectory(dir=_MEMORY if os.path.isdir(_MEMORY) else None)
FOLDER = _given or _own.name
_MISSION = b"""sounding = "a.csv"
[payload]
name = "Napraforgo-1"
mass_kg = 1.0
[launch]
site = "field"
latitude_deg = 47.0
longitude_deg = 19.0
height_m = 90
utc = "2026-04-01T09:00:00Z"
landing_height_m = 90.0
[balloon]
mass_kg = 0.6
burst_diameter_m = 6.0
free_lift_kg = 0.8
[parachute]
drag_area_m2 = 0.7
[barometer]
calibration = [40127, 36924, 23317, 23282, 33464, 28312]
[rates]
motion_ms = 100
[parity]
depth = 16
"""
_SOUNDING = b"""pressure_hPa,geopotential_height_m,temperature_degC,dew_point_degC,relative_humidity_percent,\
wind_from_deg,wind_speed_m_s
1000,100,15.0,10.0,72,180,5
900,1000,9.5,,60,190,7.5
500,5600,-20,-30,,270,20
"""
_NMEA = (
    b"$GPRMC,092204.999,A,4250.5589,S,14718.5084,E,0.00,89.68,211200,,*25\r\n",
    b"$GPGGA,092204.999,4250.5589,S,14718.5084,E,1,04,24.4,19.7,M,,,,0000*1F\r\n",
    b"$PUBX,00,081350.00,4717.113210,N,00833.915187,E,546.589,G3,2.1,2.0,0.007,77.52,0.007,,"
    b"0.92,1.19,0.77,9,0,0*5F\r\n",
)


def _file(name, data):
    path = os.path.join(FOLDER, name)
    with open(path, "wb") as file:
        file.write(data)
    return path


def packets(data):
    """Fed in two pieces, sealed on demand: the right CRC-16 gets the fuzzer behind the check sum."""
    if data[:1] == b"S" and len(data) > 14:
        size = min(200, len(data) - 14)
        inner = bytes([size]) + data[1:9] + data[9:9 + size].ljust(size, b"\0")
        data = data[10 + size:] + b"\x9eL" + inner + pack("<H", crc_hqx(inner, 0xFFFF)) + data[:7]
    finder = PacketFinder()
    cut = len(data) // 3
    finder.feed(data[:cut])
    finder.feed(data[cut:])
    finder.finish()
    assert finder.offset == len(data)


def manifest(data):
    text = data + b"end %08x\n" % crc32(data)
    described = parse_manifest(text)
    for kind in described.kinds:
        assert kind.payload_size >= 0 and 1 <= kind.number <= 255


def manifest_pieces(data):
    class Records:
        def __init__(self, values):
            self.values = values

    raw = data[:len(data) // 50 * 50]
    values = np.frombuffer(raw, np.dtype([("part", "u1"), ("parts", "u1"), ("text", "S48")]))
    Pieces().text_of(Records(values))


def mission_toml(data):
    try:
        mission.load_mission(_file("mission.toml", data))
    except mission.MissionError as error:
        assert str(error)


def nmea(data):
    reader = NmeaReader(9600, lambda: None)
    reader.feed(data, len(data), 1000)
    if data[:1] == b"$":
        # The right check sum gets the fuzzer behind it.
        body = data[1:110].split(b"\n")[0].split(b"*")[0].strip(b"\r $")
        total = 0
        for byte in body:
            total ^= byte
        line = b"$" + body + b"*%02X\r\n" % total
        reader.feed(line, len(line), 2000)
    reader.finish()


def sounding_csv(data):
    try:
        sounding.read_sounding(_file("sounding.csv", data))
    except sounding.SoundingError as error:
        assert str(error)


def card_map(data):
    image = _file("image.img", b"\0" * 4096)
    _file("image.img.map.json", data)
    notes, facts = [], {}
    for offset, length in mapped_places(Path(image), 4096, notes, facts):
        assert 0 <= offset < 4096 and 0 < length <= 4096 - offset


def _recover(name, data):
    if not data:
        return
    try:
        recovered = recover_source(_file(name, data))
    except LoftbookError as error:
        assert "\n" not in str(error)
        return
    recovered.ledger.check()
    recovered.ledger.to_json()


def recover_any(data):
    """The bytes as they are."""
    _recover("any.img", data)


def recover_mutated(data):
    """The bytes are instructions that damage a small log or capture."""
    if not data:
        return
    image = bytearray(_IMAGES[data[0] % len(_IMAGES)])
    for at in range(1, len(data) - 3, 4):
        operation, value = data[at] % 8, data[at + 3]
        place = int.from_bytes(data[at + 1:at + 3], "little") % (len(image) + 1)
        if operation == 0:
            del image[place:place + 1 + value * (operation + 1)]
        elif operation == 1:
            image[place:place] = bytes([value]) * (1 + value % 16)
        elif operation == 2:
            image[place:place] = image[place - 512:place]
        elif operation == 3:
            image[place // 512 * 512:place // 512 * 512 + 512] = bytes([value]) * 512
        else:
            image[place:place + 1] = bytes([value])
    _recover("mutated.img", bytes(image))


def recover_sealed(data):
    """The bytes are the contents of blocks and packets, whose check sums are made right: what a hostile
    or broken writer could make.
    """
    source = bytearray()
    at = 0
    while at + 24 <= len(data) and len(source) < 16_384:
        head, at = data[at:at + 24], at + 24
        size = head[1] * 2
        body, at = data[at:at + size], at + size
        if head[0] % 4 == 0:
            body = body[:200].ljust(1, b"\2")
            inner = bytes([len(body)]) + bytes([head[2] % 2, head[3] % 3]) + head[4:10] + body
            source += b"\x9eL" + inner + pack("<H", crc_hqx(inner, 0xFFFF))
            continue
        flags = (0, 0, 0, 1 | head[2] >> 4 << 1, 1 | head[2] >> 4 << 1, 2)[head[2] % 6]
        flight = bytes([head[3] % 2, 0, 0, 1])
        place = int.from_bytes(head[4:8], "little") >> (head[8] % 4 * 8)
        number = int.from_bytes(head[9:13], "little") >> (head[13] % 4 * 8)
        # Small depths and rates, small boots: so that blocks meet their parity.
        block = b"\x8cLB\xe7" + pack("<BBBB", 1 + head[14] // 250, flags, head[15] % 5, head[16] % 4) + flight
        tick = int.from_bytes(head[18:22], "little")
        block += pack("<IIHIHB", place, number, head[17] % 3, tick, len(body), head[22])
        block = (block + body).ljust(508, b"\0")[:508]
        source += block + crc32(block).to_bytes(4, "little")
        if head[23] % 8 == 0:
            source[-100] ^= 1 << head[23] // 8 % 8  # one that can be repaired
        elif head[23] % 8 == 1:
            source += body[:50]
    _recover("sealed.img", bytes(source))


def recover_compressed(data):
    _recover("compressed.img.gz", data)


def _gzip(data):
    deflate = compressobj(wbits=31)
    return deflate.compress(data) + deflate.flush()


def _images():
    rng = Random(1)
    log = write_log(rng, b"\1\0\0\1", [(9, 100), (7, None)], 2, 2)
    foreign = write_log(rng, b"\0\0\0\1", [(8, None)], 3, 1, has_foreign=True)
    sent = b"".join(packet.data for packet in captures.write_packets(rng, b"\1\0\0\1", 1, 25))
    heard = b"".join(packet.data for packet in captures.write_packets(rng, b"\0\0\0\1", 2, 25, True))
    stop = [(max(block.place for block in item.blocks) + 3) * 512 for item in (log, foreign)]
    first, second = bytes(log.sectors[:stop[0]]), bytes(foreign.sectors[:stop[1]])
    return [first, second, sent, heard, first[:3000] + sent + second]


def _mission_seeds():
    """Beside a right one: what is right TOML and still too deep or too large, which a search finds only
    by luck.
    """
    large = _MISSION.replace(b"mass_kg = 1.0", b"mass_kg = 1" + b"0" * 400)
    return [_MISSION, large, _MISSION + b"a = " + b"9" * 5000, b"a = " + b"[" * 3000, b"a = " + b"{a=" * 1000]


_IMAGES = _images()
_SEALED = bytes([1, 40, 0, 0, 0, 0, 0, 0, 3, 0, 0, 0, 0, 3, 0, 2, 2, 1, 9, 0, 0, 0, 1, 9])
_SEALED += b"\2\0\0" + bytes(77)
_PIECES = b"\0\2" + b"a" * 48 + b"\1\2end 00000000\n".ljust(50, b"\0")
_MAP = (
    b'{"format": "loftbook-card-map", "version": 1, "device": "x", "size": 4096, "sha256": "", '
    b'"retries": 0, "unreadable": [{"offset": 512, "length": 512}]}'
)
_PACKETS = [sources.false_packets(Random(2), 3), _IMAGES[2][:300], b"S" + _IMAGES[3][2:200]]


def _compressed_seeds():
    as_zstd = zstandard.ZstdCompressor(write_checksum=True).compress(_IMAGES[2][:1500])
    return [_gzip(_IMAGES[2][:1500]), _gzip(bytes(5000) + _IMAGES[0][:2000]), as_zstd]


# name: (function, seeds, longest input, weight: share of the time)
TARGETS = {
    "packets": (packets, _PACKETS, 600, 3),
    "manifest": (manifest, [manifest_text(b"\1\0\0\1", 1, True)[:-13]], 2500, 2),
    "manifest pieces": (manifest_pieces, [_PIECES], 2000, 1),
    "mission.toml": (mission_toml, _mission_seeds(), 8000, 1),
    "nmea": (nmea, list(_NMEA), 400, 3),
    "sounding": (sounding_csv, [_SOUNDING], 1000, 1),
    "card map": (card_map, [_MAP], 500, 0.5),
    "any bytes": (recover_any, [_IMAGES[0][:1500], _IMAGES[2][:400]], 2000, 1),
    "damaged logs": (recover_mutated, [bytes([i, 4, 9, 9, 9]) for i in range(len(_IMAGES))], 200, 3),
    "sealed blocks": (recover_sealed, [_SEALED * 3, bytes([4]) + _SEALED[1:]], 4000, 3),
    "compressed": (recover_compressed, _compressed_seeds(), 3000, 1),
}
