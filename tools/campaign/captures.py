"""Captures of a link: packets by the board's own builder, and what a serial line does to their bytes."""

from struct import pack, unpack

from protocol.packet import PACKET_RECORDS_MAX, PacketBuilder
from tools.campaign import foreign
from tools.campaign.written import ROUND, TICKS, Pen, Written, manifest_text


def write_packets(rng, flight, boot, count, has_foreign=False):
    """About `count` packets of one boot, in order: list of Written."""
    packets, builder = [], PacketBuilder()
    fill = rng.choice((40, 100, 170, PACKET_RECORDS_MAX))
    first = rng.choice((0, 0, 65_530, rng.randrange(65_536)))
    records = []

    def close():
        size = builder.close(flight, boot, first + len(packets))
        number = (first + len(packets)) % 65_536
        data = bytes(builder.buffer[:size])
        packets.append(Written(flight, boot, number, None, data, tuple(records), is_packet=True))
        records.clear()

    def emit(layout, tick):
        if builder.is_open and not builder.fits(layout, tick):
            close()
        if not builder.is_open:
            builder.open(tick)
        at = builder.first + builder.used
        builder.add(layout, tick)
        kind, difference = unpack("<Bh", builder.buffer[at:at + 3])
        payload = bytes(builder.buffer[at + 3:at + layout.size])
        records.append((kind, (builder.tick + difference) % TICKS, payload))
        if builder.used >= fill:
            close()

    pen = Pen(flight, boot, emit)
    now = rng.choice((40, 40, rng.randrange(TICKS), TICKS - 20_000))
    text = manifest_text(flight, boot, has_foreign)
    manifest_every = rng.choice((5, 20))
    rounds = 0
    while len(packets) < count:
        if rounds % manifest_every == 0:
            if builder.is_open:
                close()
            pen.write_manifest(text, now)
            if builder.is_open:
                close()
        rounds += 1
        for kind in (*ROUND, "foreign") if has_foreign else ROUND:
            pen.write(kind, now)
            now += 50
    return packets


def line_noise(rng, data):
    """What a serial line makes of these bytes: lost, doubled, inserted and flipped ones, and stretches
    of noise.
    """
    out = bytearray(data)
    events = max(1, int(len(out) * rng.choice((0.0002, 0.001, 0.005))))
    kinds = rng.sample(("lost", "doubled", "inserted", "flipped", "noise", "gap"), rng.randint(1, 4))
    for at in sorted((rng.randrange(len(out)) for _ in range(events)), reverse=True):
        kind = rng.choice(kinds)
        if kind == "lost":
            del out[at:at + rng.choice((1, 1, 2, 7))]
        elif kind == "doubled":
            out[at:at] = out[at:at + rng.choice((1, 1, 4))]
        elif kind == "inserted":
            out[at:at] = rng.randbytes(rng.choice((1, 1, 3)))
        elif kind == "flipped" and at < len(out):
            out[at] ^= 1 << rng.randrange(8)
        elif kind == "noise":
            out[at:at] = foreign.anything(rng, rng.randrange(2, 300))
        elif len(out) > 2000:
            del out[at:at + rng.randrange(50, 1500)]
    return bytes(out), f"{events} times a byte or more " + ", ".join(kinds)


def false_packets(rng, count):
    """Bytes that begin as packets do and are none."""
    return b"".join(
        b"\x9eL" + pack("<BBBHI", rng.randrange(256), 0x5A, 1, rng.randrange(65_536), rng.randrange(TICKS))
        + rng.randbytes(rng.randrange(40))
        for _ in range(count)
    )
