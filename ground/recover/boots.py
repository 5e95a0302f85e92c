"""From series of envelopes to the boots of flights: names, manifests, and one log a boot."""

import numpy as np

from ground.recover.evidence import REBUILT, REPAIRED
from ground.recover.packet_series import UNKNOWN_FLIGHT
from ground.recover.records import in_order
from ground.recover.result import BootLog, KindRecords


def name_flights(series):
    """Complete the names of flights of which packets tell only one byte, where exactly one flight of the
    source begins with it. Returns notes.
    """
    notes = []
    known = {item.flight for item in series if not item.flight.startswith(UNKNOWN_FLIGHT)}
    for item in series:
        byte = item.flight.removeprefix(UNKNOWN_FLIGHT)
        fitting = [flight for flight in known if flight.startswith(byte)]
        if byte != item.flight and len(byte) == 2 and len(fitting) == 1:
            item.flight = fitting[0]
            notes.append(
                f"packets of boot {item.boot} are taken for flight {item.flight}: only their first byte "
                "says so, and no other flight in the source begins with it"
            )
    return notes


def lend_manifests(series):
    """Give boots without a whole manifest that of another boot of the same flight, which flew the same
    program and sensors. Returns notes.
    """
    notes = []
    of_boot, of_flight = {}, {}
    for item in series:
        if item.manifest:
            of_boot.setdefault((item.flight, item.boot), item.manifest)
            of_flight.setdefault(item.flight, item.manifest)
    for item in series:
        own = of_boot.get((item.flight, item.boot))
        if item.manifest:
            if item.manifest.kinds != own.kinds:
                item.decode_by(own, borrowed=False)
            continue
        manifest = own or of_flight.get(item.flight)
        if manifest:
            item.decode_by(manifest, borrowed=own is None)
        if own is None:
            source = f"that of boot {manifest.boot} is" if manifest else "this program's own table is"
            notes.append(f"flight {item.flight} boot {item.boot}: no whole manifest found; {source} used")
    return notes


def boot_logs(series, expected):
    """One BootLog for each flight and boot, in order of (flight first seen, boot).
    expected: how many envelopes each series must have had.
    """
    order = {}
    for item in sorted(series, key=lambda item: item.place):
        order.setdefault(item.flight, len(order))
    logs = {}
    for item, count in zip(series, expected, strict=True):
        key = (order[item.flight], item.boot)
        log = BootLog(
            item.flight, item.boot, item.manifest, item.records, len(item.numbers), count,
            item.unreadable, item.manifest_borrowed, item.count(REBUILT), item.count(REPAIRED),
            *((len(item.numbers), count) if item.envelope == "packet" else (0, 0)),
        )
        logs[key] = _joined(logs[key], log) if key in logs else log
    return [logs[key] for key in sorted(logs)]


def _joined(first, second):
    """Two logs of one boot from different carriers. What both hold is kept once."""
    records = dict(first.records)
    for name, extra in second.records.items():
        records[name] = _united(records[name], extra) if name in records else extra
    return BootLog(
        first.flight, first.boot, first.manifest, records,
        first.envelopes_found + second.envelopes_found,
        first.envelopes_expected + second.envelopes_expected,
        first.unreadable_records + second.unreadable_records,
        first.manifest_borrowed,
        first.envelopes_rebuilt + second.envelopes_rebuilt,
        first.envelopes_repaired + second.envelopes_repaired,
        first.packets_found + second.packets_found,
        first.packets_expected + second.packets_expected,
    )


def _united(first, second):
    held = set(zip(first.tick_ms.tolist(), _payloads(first.values), strict=True))
    keys = zip(second.tick_ms.tolist(), _payloads(second.values), strict=True)
    new = np.array([key not in held for key in keys], bool)
    return in_order(KindRecords(
        first.layout,
        np.concatenate([first.tick_ms, second.tick_ms[new]]),
        np.concatenate([first.values, second.values[new]]),
        np.concatenate([first.evidence, second.evidence[new]]),
    ))


def _payloads(values):
    size = values.dtype.itemsize
    raw = values.tobytes()
    return [raw[i * size:(i + 1) * size] for i in range(len(values))]
