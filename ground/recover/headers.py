"""What headers of blocks say, many at once."""

import numpy as np

from ground.layout import BLOCK_HEADER_DTYPE
from protocol.block import BLOCK_FLIGHT, BLOCK_LIMIT, BLOCK_SIZE, FLAG_PARITY
from protocol.table import FORMAT_VERSION


def header_of(block):
    """Header of a block's bytes: structured scalar."""
    return np.frombuffer(block, BLOCK_HEADER_DTYPE, 1)[0]


def crc_of(block):
    """The CRC-32 that stands in a block's bytes."""
    return int.from_bytes(block[BLOCK_LIMIT:BLOCK_SIZE], "little")


def flight_of(header):
    """The four bytes of the flight in one header; numpy's own text would lose zeros at its end."""
    return header.tobytes()[BLOCK_FLIGHT:BLOCK_FLIGHT + 4]


def flight_words(headers):
    """The flights of block headers as uint32 (n,); see flight_name."""
    return np.ascontiguousarray(headers["flight"]).view("<u4")


def flight_name(word):
    """Eight hexadecimal digits, in the order of the bytes."""
    return int(word).to_bytes(4, "little").hex()


def boot_keys(headers):
    """int64 (n,): equal for blocks of the same flight and boot."""
    return flight_words(headers).astype(np.int64) << 16 | headers["boot"]


def place_keys(headers):
    """uint64 (n,): flight and place in one."""
    return flight_words(headers).astype(np.uint64) << np.uint64(32) | headers["place"]


def is_parity(headers):
    """bool (n,): blocks that hold parity; of these only the header up to `place` has its meaning."""
    return (headers["flags"] & FLAG_PARITY) != 0


def is_decoded(headers):
    """bool (n,): blocks whose records this program understands."""
    return (headers["version"] == FORMAT_VERSION) & (headers["flags"] == 0)
