"""Bytes of other people: like photos, films and texts, and noise. None is a real file, all are random."""

WORDS = (
    b"field", b"club", b"the", b"sunflower", b"window", b"Friday", b"battery", b"of", b"and", b"a", b"solder",
    b"library", b"cable", b"sensor", b"north", b"0.25", b"1013", b"list", b"minutes", b"LB", b"remember",
)


def noise(rng, size):
    """Uniformly random bytes."""
    return rng.randbytes(size)


def photo(rng, size):
    """Like a JPEG file: a head with its markers, then entropy-coded data in which every 0xFF is followed
    by 0x00 or by a restart marker (ITU-T T.81, B.1.1.5).
    """
    head = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x48\x00\x48\x00\x00\xff\xdb\x00\x43\x00"
    coded = rng.randbytes(size).replace(b"\xff", b"\xff\x00")
    coded = coded.replace(b"\x00\x00", b"\xff\xd0")
    scan = b"\xff\xda\x00\x0c\x03\x01\x00\x02\x11\x03\x11\x00\x3f\x00"
    return (head + rng.randbytes(64) + scan + coded)[:size]


def film(rng, size):
    """Like a film in a container: boxes with sizes and names around units behind start codes."""
    pieces, total = [b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom", size.to_bytes(4, "big"), b"mdat"], 0
    while total < size:
        start = b"\x00\x00\x00\x01" + bytes([rng.choice((0x41, 0x65, 0x06))])
        unit = start + rng.randbytes(rng.randrange(200, 9000))
        pieces.append(unit)
        total += len(unit)
    return b"".join(pieces)[:size]


def text(rng, size):
    """Like a log in words, or a table with commas."""
    line = b"".join(rng.choice(WORDS) + rng.choice((b" ", b" ", b",", b"\n", b"\t")) for _ in range(400))
    turned = rng.randrange(len(line))
    line = line[turned:] + line[:turned]
    return (line * (size // len(line) + 1))[:size]


def sparse(rng, size):
    """Mostly zeros and ones with islands of something."""
    data = bytearray(rng.choice((b"\0", b"\xff")) * size)
    for _ in range(size // 2048):
        at = rng.randrange(size)
        island = rng.randbytes(rng.randrange(1, 300))
        data[at:at + len(island)] = island
    return bytes(data[:size])


KINDS = (noise, photo, film, text, sparse)


def anything(rng, size):
    """Bytes of one of these kinds."""
    return rng.choice(KINDS)(rng, size)
