"""Write tests/data/vectors.json: bytes in hexadecimal with the values that they hold.

    python tools/make_vectors.py           write the file
    python tools/make_vectors.py --check   exit 1 if it is stale

The bytes come from the code that flies (protocol/). A second decoder, written from FORMAT.md alone,
reads them in a test; so do the ground's structures.
"""

import json
import sys
from fractions import Fraction
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from onboard.firmware.parity import Parity  # noqa: E402
from protocol.block import BlockBuilder, is_whole  # noqa: E402
from protocol.manifest import Pieces, build_manifest  # noqa: E402
from protocol.packet import PacketBuilder  # noqa: E402
from protocol.record import Layout  # noqa: E402
from protocol.table import KINDS, split_field  # noqa: E402
from protocol.tick import TICK_PERIOD, tick_add  # noqa: E402
from protocol.wire import missing_value, wire_size  # noqa: E402

FILE = ROOT / "tests" / "data" / "vectors.json"
FLIGHT = bytes.fromhex("5f3a1c22")


def stored(wire, choice, position):
    """A stored value for a field: the end points, missing, or one that its position gives away."""
    if wire[-1] == "s":
        return ("Napraforg\u00f3 %d" % position).encode()[: wire_size(wire)].ljust(wire_size(wire), b"\0")
    bits = 8 * wire_size(wire)
    low, high = (0, (1 << bits) - 2) if wire in "BHI" else (-(1 << (bits - 1)) + 1, (1 << (bits - 1)) - 1)
    return {
        "missing": missing_value(wire), "lowest": low, "highest": high, "ordinary": (101 + 37 * position) % high,
    }[choice]


def value_of(field, raw):
    """The decoded value as the specification says: text, None if missing, else stored / divisor."""
    _, wire, divisor, _ = field
    if wire[-1] == "s":
        return raw.hex()
    return None if raw == missing_value(wire) else float(Fraction(raw, divisor))


def fill(name, layout, choice):
    fields = [split_field(text) for _, kind, texts in KINDS if kind == name for text in texts]
    for position, field in enumerate(fields):
        layout.values[position] = stored(field[1], choice, position)
    return {field[0]: value_of(field, raw) for field, raw in zip(fields, layout.values)}


def records():
    for _, name, _ in KINDS:
        layout = Layout(name)
        for choice, difference in (("ordinary", 250), ("missing", -1), ("lowest", -32768), ("highest", 32767)):
            values = fill(name, layout, choice)
            buffer = bytearray(layout.size)
            layout.pack(buffer, 0, difference)
            yield {"case": choice, "hex": buffer.hex(), "kind": name, "difference": difference, "values": values}


def fill_envelope(builder, tick, names):
    builder.open(tick)
    held = []
    for position, name in enumerate(names):
        layout = Layout(name)
        values = fill(name, layout, "ordinary")
        sample = tick_add(tick, 40 * position - 30)
        if not builder.fits(layout, sample):
            break
        builder.add(layout, sample)
        held.append({"kind": name, "tick": sample, "values": values})
    return held


def blocks():
    every = [name for _, name, _ in KINDS]
    for case, boot, number, tick, names, phase in (
        ("one of each kind", 1, 0, 1000, every, 0),
        ("full of motion", 1, 1, 61_000, ["motion"] * 40, 1),
        ("empty", 2, 7, 5, [], 2),
        ("across the end of the clock", 65535, 4_000_000_000, TICK_PERIOD - 20, every, 3),
        ("a sample before the clock's zero", 1, 2, 5, ["event", "pressure"], 0),
    ):
        builder = BlockBuilder()
        held = fill_envelope(builder, tick, names)
        builder.close(FLIGHT, boot, number, phase)
        header = {
            "place": number, "depth": 0, "rate": 0,
            "boot": boot, "flight": FLIGHT.hex(), "number": number, "tick": tick, "phase": phase,
        }
        yield {"case": case, "hex": builder.buffer.hex(), "header": header, "records": held}


def parity_stripe():
    """A stripe of depth 2 and rate 3 as the board writes it, with a reset and a torn block in it."""
    written = []

    class Region:
        """Sectors in memory; prepare, write and whole_block as the firmware's LogRegion has them."""

        def whole_block(self, place, offset, flight):
            sector = written[place]
            return sector if sector[offset : offset + 4] == flight and is_whole(sector) else None

    parity = Parity(Region(), FLIGHT, 2, 3)
    builder = BlockBuilder()
    for place in range(8):
        if parity.is_due(place):
            while not parity.step(place):
                pass
            written.append(bytearray(parity.buffer))
            continue
        boot, number = (1, place) if place < 4 else (2, place - 4)
        fill_envelope(builder, 1000 + 2000 * place, ["pressure", "event", "fix"])
        builder.close(FLIGHT, boot, number, 1, place, 2, 3)
        written.append(bytearray(builder.buffer))
        if place == 3:
            written[place][100:] = bytes(412)
    return {"depth": 2, "rate": 3, "torn_place": 3, "sectors": [sector.hex() for sector in written]}


def packets():
    for case, boot, number, tick, names in (
        ("a fix and a pressure", 1, 0, 1000, ["fix", "pressure"]),
        ("full", 300, 65_535, 123_456_789, ["motion"] * 20),
        ("across the end of the clock", 2, 9, TICK_PERIOD - 10, ["event", "text"]),
    ):
        builder = PacketBuilder()
        held = fill_envelope(builder, tick, names)
        size = builder.close(FLIGHT, boot, number)
        header = {"boot": boot & 0xFF, "flight": FLIGHT[0], "number": number, "tick": tick}
        yield {"case": case, "hex": builder.buffer[:size].hex(), "header": header, "records": held}


def refused():
    """Bytes that a decoder must not take, although they look right at first."""
    whole = BlockBuilder()
    fill_envelope(whole, 1000, ["motion"] * 40)
    whole.close(FLIGHT, 1, 1, 1)
    flipped = bytearray(whole.buffer)
    flipped[300] ^= 0x10
    yield {"envelope": "block", "case": "one bit flipped among the records", "hex": flipped.hex()}
    flipped = bytearray(whole.buffer)
    flipped[-1] ^= 0x01
    yield {"envelope": "block", "case": "one bit flipped in the CRC", "hex": flipped.hex()}
    yield {"envelope": "block", "case": "torn", "hex": (whole.buffer[:200] + bytes(312)).hex()}
    builder = PacketBuilder()
    fill_envelope(builder, 1000, ["event"])
    size = builder.close(FLIGHT, 1, 0)
    flipped = bytearray(builder.buffer[:size])
    flipped[15] ^= 0x80
    yield {"envelope": "packet", "case": "one bit flipped", "hex": flipped.hex()}
    builder.used -= 1
    size = builder.close(FLIGHT, 1, 0)
    yield {"envelope": "packet", "case": "right CRC, but the record is not whole", "hex": builder.buffer[:size].hex()}
    builder.used = 0
    size = builder.close(FLIGHT, 1, 0)
    yield {"envelope": "packet", "case": "right CRC, but no record", "hex": builder.buffer[:size].hex()}


def manifest():
    text = build_manifest(
        "0.1.0", "Napraforgo-1 (invented)", FLIGHT, 3, "0badc0de",
        (("barometer", "ms5611", 40127, 36924, 23317, 23282, 33464, 28312), ("humidity", "sht3x")),
        (("pressure", 500), ("motion", 100)),
    )
    layout = Layout("manifest")
    pieces = Pieces(layout, "text", text)
    pieces.restart()
    packed = []
    while pieces.pending():
        pieces.fill()
        buffer = bytearray(layout.size)
        layout.pack(buffer, 0, 0)
        packed.append(buffer.hex())
    return {"pieces": packed, "text": text.decode()}


def content():
    vectors = {
        "about": "Test vectors of the Loftbook record format; see protocol/FORMAT.md. Values are invented. "
        "Text fields are given as hexadecimal bytes; null means missing. A block's flight is given as hexadecimal bytes, "
        "a packet's as a number. Manifest pieces are whole records.",
        "records": list(records()),
        "blocks": list(blocks()),
        "parity_stripe": parity_stripe(),
        "packets": list(packets()),
        "refused": list(refused()),
        "manifest": manifest(),
    }
    return json.dumps(vectors, indent=1) + "\n"


def main():
    fresh = content()
    if "--check" in sys.argv[1:]:
        if not FILE.exists() or FILE.read_text("utf-8") != fresh:
            sys.exit("tests/data/vectors.json is stale; run python tools/make_vectors.py")
        return
    FILE.write_text(fresh, "utf-8")


if __name__ == "__main__":
    main()
