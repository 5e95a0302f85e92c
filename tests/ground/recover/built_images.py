"""Logs, captures and card images for the tests of recovery, built by the board's own builders.

Every value of a record is derived from its key (flight, boot, kind, tick), so that a record which
was never written, or was mixed up with another, shows at once.
"""

from collections import Counter
from zlib import crc32

from ground.recover import recover_source
from protocol.block import BlockBuilder
from protocol.manifest import Pieces, build_manifest
from protocol.packet import PACKET_RECORDS_MAX, PacketBuilder
from protocol.record import Layout
from protocol.table import KINDS, split_field
from protocol.tick import TICK_MASK
from protocol.wire import wire_size

FLIGHT = b"\x5a\x00\xc3\x00"
OTHER_FLIGHT = b"\x17\x2b\x3c\x4d"
LAYOUTS = {name: Layout(name) for _, name, _ in KINDS}
WIRES = {name: [split_field(field)[1] for field in fields] for _, name, fields in KINDS}
# A round of samples, as a board takes them: fast sensors more often than slow ones.
ROUND = ("motion", "motion", "pressure", "motion", "air", "motion", "fix", "motion", "power", "event", "text")


def derived_value(flight, boot, kind, tick_ms, index, wire):
    """The value that the field of this key always has in these tests."""
    word = crc32(repr((flight, boot, kind, tick_ms, index)).encode())
    size = wire_size(wire)
    if wire.endswith("s"):
        return (b"%08x" % word * 8)[:size]
    low = -(1 << (8 * size - 1)) if wire.islower() else 0
    return low + word % (1 << (8 * size))


def derived_values(flight, boot, kind, tick_ms):
    """All values of the record of this key, in the table's order."""
    return [derived_value(flight, boot, kind, tick_ms, i, wire) for i, wire in enumerate(WIRES[kind])]


class Writer:
    """Writes envelopes as a board would. `envelopes` are their bytes, `contents` lists for each
    the keys (kind, tick_ms) of its records other than the manifest's.
    """

    def __init__(self, flight=FLIGHT, boot=1, start_ms=40, packets=False, number=0):
        self.flight, self.boot, self.now_ms = flight, boot, start_ms
        self.number = number
        self.envelopes, self.contents = [], []
        self._keys = []
        self._is_packets = packets
        self._builder = PacketBuilder() if packets else BlockBuilder()

    @property
    def text(self):
        """The manifest of this boot."""
        return build_manifest(
            "0.1.0", "Napraforgo-1", self.flight, self.boot, "0badcafe",
            [("barometer", "ms5611", 40127, 36924, 23317, 23282, 33464, 28312)], [("motion", 20)],
        )

    def add_manifest(self, text=None):
        """Append all pieces of the manifest."""
        layout = LAYOUTS["manifest"]
        pieces = Pieces(layout, "text", text or self.text)
        pieces.restart()
        while pieces.pending():
            pieces.fill()
            self._put(layout, self.now_ms)
        return self

    def add_rounds(self, rounds, step_ms=20):
        """Append so many rounds of records; every one has its own tick."""
        for _ in range(rounds):
            for kind in ROUND:
                self.add(kind, self.now_ms)
                self.now_ms += step_ms
        return self

    def add(self, kind, tick_ms):
        """Append one record of derived values."""
        layout = LAYOUTS[kind]
        layout.values[:] = derived_values(self.flight, self.boot, kind, tick_ms)
        self._put(layout, tick_ms, (kind, tick_ms))

    def _put(self, layout, tick_ms, key=None):
        builder = self._builder
        tick = tick_ms & TICK_MASK
        if builder.is_open and not builder.fits(layout, tick):
            self.close()
        if not builder.is_open:
            builder.open(tick)
        builder.add(layout, tick)
        if key:
            self._keys.append(key)
        if self._is_packets and builder.used > PACKET_RECORDS_MAX // 2:
            self.close()

    def close(self):
        """End the open envelope, if there is one; returns all envelopes."""
        if self._builder.is_open:
            if self._is_packets:
                size = self._builder.close(self.flight, self.boot, self.number)
            else:
                self._builder.close(self.flight, self.boot, self.number, 1)
                size = len(self._builder.buffer)
            self.envelopes.append(bytes(self._builder.buffer[:size]))
            self.contents.append(self._keys)
            self._keys = []
            self.number += 1
        return self.envelopes

    def keys(self, but=()):
        """Counter of the keys in all envelopes but those of these indices."""
        return Counter(k for i, keys in enumerate(self.contents) if i not in but for k in keys)


def written_log(rounds=40, **options):
    """A closed Writer of a log with its manifest at the start."""
    writer = Writer(**options).add_manifest().add_rounds(rounds)
    writer.close()
    return writer


def recover_bytes(tmp_path, data):
    """Recovered from these bytes; the ledger has been checked to balance."""
    path = tmp_path / "source.bin"
    path.write_bytes(data)
    recovered = recover_source(path)
    recovered.ledger.check()
    assert path.read_bytes() == data
    return recovered


def recovered_keys(log, flight):
    """Counter of (kind, tick_ms) of a BootLog, after checking every value of every record."""
    keys = Counter()
    for kind, records in log.records.items():
        assert (records.tick_ms[1:] >= records.tick_ms[:-1]).all()
        if kind == "manifest":
            continue
        for tick_ms, values in zip(records.tick_ms.tolist(), records.values.tolist(), strict=True):
            assert list(values) == derived_values(flight, log.boot, kind, tick_ms)
            keys[kind, tick_ms] += 1
    return keys


def states(recovered):
    """[(state, length)] of the ledger's ranges."""
    return [(item.state, item.length) for item in recovered.ledger.ranges]


def losses(recovered):
    """[(boot, first, last, reason)] of the ledger's losses."""
    return [(loss.boot, loss.first_number, loss.last_number, loss.reason) for loss in recovered.ledger.losses]
