# Where the last boot of a flight left off, from the log on the card. Needed once a boot, and then let go.

from struct import unpack_from

from protocol.block import BLOCK_FLIGHT, BLOCK_HEADER, BLOCK_HEADER_FIELDS

_BOOT = BLOCK_HEADER_FIELDS.index("boot")
_PHASE = BLOCK_HEADER_FIELDS.index("phase")


def resume(region, flight):
    """Find the log, its end, and the flight's newest block. A generator, each step takes little time.

    region: a LogRegion made to be found later; flight: 4 bytes.
    Returns (number of the boot that begins now, flight phase). Raises OSError if there is no log, or the card fails.
    """
    yield from region.find()
    yield from region.resume_steps()
    last = region.last_block(BLOCK_FLIGHT, flight)
    if last is None:
        return 1, 0
    header = unpack_from(BLOCK_HEADER, last, 0)
    return header[_BOOT] + 1, header[_PHASE]
