"""How often bytes of others pass for ours by chance: the arithmetic of protocol/FORMAT.md, in numbers.

Uniformly random bytes. Sizes of records from the page's tables.
"""

from tools.campaign.expect import SIZES

LENGTHS = range(1, 201)  # bytes of records that a packet may have
BLOCK = 2.0**-64  # magic and CRC-32, a position
SYNC = CRC16 = 2.0**-16


def walks_exactly(sizes=None):
    """Probability, for each length 0 .. 200, that so many random bytes are whole records of these sizes:
    list.

    sizes: {kind: bytes of a record}. A record of kind k begins with the byte k, so the length L is
    filled by one of kind k and a filling of what is left: w(L) = sum over k of w(L - size of k) / 256,
    w(0) = 1.
    """
    sizes = SIZES if sizes is None else sizes
    ways = [1.0] + [0.0] * max(LENGTHS)
    for length in LENGTHS:
        ways[length] = sum(ways[length - size] for size in sizes.values() if size <= length) / 256
    return ways


def candidate(sizes=None):
    """Probability, a position, of a sync, a length in range and records that fill it: all but the CRC-16."""
    ways = walks_exactly(sizes)
    return SYNC * sum(ways[length] for length in LENGTHS) / 256


def packet(sizes=None):
    """Probability, a position, that random bytes pass as a packet."""
    return candidate(sizes) * CRC16


def pair(positions):
    """Expected pairs of false packets in so many positions that name the same flight and boot (2 bytes)."""
    expected = positions * packet()
    return expected * expected / 2 * 2.0**-16
