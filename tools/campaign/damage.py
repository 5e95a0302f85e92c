"""What happens to cards and their copies. Every function takes (rng, image), changes the image and says
what it did.
"""

from tools.campaign import foreign

SECTOR = 512


def _somewhere(rng, image, size):
    """(offset, count) of at most `size` bytes, nearly always where blocks stand."""
    start, stop = image.span() if rng.random() < 0.9 else (0, len(image))
    offset = rng.randrange(start, stop)
    return offset, min(size, len(image) - offset)


def flip_bits(rng, image):
    count = rng.choice((1, 1, 2, 5, 20, 100, 500, 2000))
    for _ in range(count):
        image.flip(_somewhere(rng, image, 1)[0], 1 << rng.randrange(8))
    return f"{count} bits flipped"


def flip_bits_of_single_blocks(rng, image):
    """Exactly one bit, or one short burst, in some blocks: what can be repaired."""
    chosen = rng.sample(image.placements, min(len(image.placements), rng.choice((1, 3, 12))))
    for offset, _ in chosen:
        first = rng.randrange(SECTOR * 8)
        pattern = rng.choice((1, 1, 0b11, 0b101, 0b111, 0b1001, 0b1011, 0b1101, 0b1111, 0b10001, 0b110011))
        for bit in range(first, min(first + pattern.bit_length(), SECTOR * 8)):
            if pattern >> (bit - first) & 1:
                image.flip(offset + bit // 8, 1 << bit % 8)
    return f"one short burst in {len(chosen)} blocks"


def bursts(rng, image):
    count = rng.choice((1, 4, 15))
    for _ in range(count):
        offset, size = _somewhere(rng, image, rng.randrange(2, 60))
        image.overwrite(offset, rng.randbytes(size))
    return f"{count} bursts"


def wipe_sectors(rng, image):
    count, value = rng.choice((1, 3, 12)), rng.choice((b"\0", b"\xff"))
    for _ in range(count):
        image.overwrite(_sector(rng, image), value * SECTOR)
    return f"{count} sectors wiped to {value.hex()}"


def lose_a_run(rng, image):
    count = rng.randrange(1, 41)
    what = rng.choice(("zeros", "ones", "noise", "photo", "same"))
    filling = {
        "zeros": bytes, "ones": lambda n: b"\xff" * n, "noise": rng.randbytes,
        "photo": lambda n: foreign.photo(rng, n), "same": lambda n: (rng.randbytes(SECTOR) * count)[:n],
    }[what](count * SECTOR)
    image.overwrite(_sector(rng, image), filling)
    return f"a run of {count} sectors lost to {what}"


def lose_many_runs(rng, image):
    return "; ".join(lose_a_run(rng, image) for _ in range(rng.choice((2, 4, 9))))


def overwrite(rng, image):
    offset, size = _somewhere(rng, image, rng.choice((700, 5_000, 60_000)))
    image.overwrite(offset, foreign.anything(rng, size))
    return f"{size} bytes overwritten"


def insert_bytes(rng, image):
    offset, _ = _somewhere(rng, image, 1)
    size = rng.choice((1, 2, 3, 100, 511, 512, 513, 4096))
    image.insert(offset, foreign.anything(rng, size))
    return f"{size} bytes inserted"


def delete_bytes(rng, image):
    offset, size = _somewhere(rng, image, rng.choice((1, 2, 3, 100, 511, 512, 513, 4096)))
    image.delete(offset, size)
    return f"{size} bytes deleted"


def double_a_piece(rng, image):
    start, size = _somewhere(rng, image, rng.choice((200, 512, 1500, 40_000)))
    if rng.random() < 0.5:
        start -= start % SECTOR
    data, blocks = image.piece(start, start + size)
    to = start + size if rng.random() < 0.5 else _somewhere(rng, image, 1)[0]
    image.insert(to, data, blocks)
    return f"a piece of {size} bytes doubled"


def move_a_piece(rng, image):
    start, size = _somewhere(rng, image, rng.choice((512, 5120, 40_000)))
    data, blocks = image.piece(start, start + size)
    image.delete(start, size)
    image.insert(rng.randrange(len(image) + 1), data, blocks)
    return f"a piece of {size} bytes moved"


def cut_off(rng, image):
    start, stop = image.span()
    keep = rng.randrange(start + 1, stop)
    image.delete(keep, len(image) - keep)
    return f"cut off after {keep} bytes"


def cut_the_start(rng, image):
    start, stop = image.span()
    image.delete(0, rng.randrange(start, max(start + 1, stop - SECTOR)))
    return "the start cut off"


def bad_bytes_of_headers(rng, image):
    """Damage where it hurts: magic, identity, place, number, used, CRC-32."""
    chosen = rng.sample(image.placements, min(len(image.placements), rng.choice((1, 4, 15))))
    for offset, _ in chosen:
        at = rng.choice((*range(29), *range(508, 512)))
        image.overwrite(offset + at, rng.randbytes(rng.choice((1, 2, 4))))
    return f"headers or check sums of {len(chosen)} blocks damaged"


def plant_magics(rng, image):
    """The first bytes of blocks where there are none, with headers that look right."""
    for _ in range(rng.choice((3, 30))):
        offset, _ = _somewhere(rng, image, 1)
        image.overwrite(offset, b"\x8cLB\xe7" + rng.choice((b"", b"\x01", b"\x01\x00\x10\x0a")))
    return "false magics planted"


def tear_blocks_in_two(rng, image):
    """The first bytes of a sector are new and the rest is old, or the other way round."""
    chosen = rng.sample(image.placements, min(len(image.placements), rng.choice((1, 5))))
    for offset, _ in chosen:
        at = rng.randrange(1, SECTOR)
        noise, other = rng.randbytes(SECTOR), rng.choice(image.placements)[1].data
        old = rng.choice((bytes(SECTOR), b"\xff" * SECTOR, noise, other))
        piece = (offset, old[:at]) if rng.random() < 0.5 else (offset + at, old[at:])
        image.overwrite(*piece)
    return f"{len(chosen)} blocks torn"


def _sector(rng, image):
    # On the grid of a block, so that whole blocks are hit as a card's sectors are.
    if not image.placements:
        return _somewhere(rng, image, 1)[0]
    return rng.choice(image.placements)[0]


ALL = (
    flip_bits, flip_bits_of_single_blocks, bursts, wipe_sectors, lose_a_run, lose_many_runs, overwrite,
    insert_bytes, delete_bytes, double_a_piece, move_a_piece, cut_off, cut_the_start, bad_bytes_of_headers,
    plant_magics, tear_blocks_in_two,
)


def ruin(rng, image, most=4):
    """Damage an image in up to `most` ways; the words of what was done stand in image.done."""
    for harm in rng.choices(ALL, k=rng.randint(0, most)):
        if len(image) > SECTOR:
            image.done.append(harm(rng, image))
