"""A plain decoder of the Loftbook record format, version 1, written from its description alone.

It shares no code with the rest: each checks the other. `python tools/plain_decoder.py FILE` prints all records.
"""

import pathlib
import re
import struct
import sys

MAGIC, SYNC = bytes.fromhex("8c4c42e7"), bytes.fromhex("9e4c")  # how a block, a packet begins
# The wire types are letters of Python's `struct`; its "<" means little-endian without gaps.
MISSING = {"B": 255, "H": 65535, "I": 4294967295, "b": -128, "h": -32768, "i": -2147483648}


def check(condition, problem):
    if not condition:
        raise ValueError(problem)


def read_field(words):
    name, wire_type, divisor, unit = words.split(" ")
    check(re.fullmatch("[BHIbhi]|[0-9]+s", wire_type), f"unknown wire type {wire_type}")
    return name, wire_type, int(divisor), unit


# The page's kinds, for where there is no manifest. A field: name, wire type, divisor, unit.
KINDS = {n: (name, [read_field(f) for f in fields.split(", ")]) for n, name, fields in [
    (1, "manifest", "part B 1 1, parts B 1 1, text 48s 1 1"),
    (2, "pressure", "pressure_counts I 1 count, temperature_counts I 1 count"),
    (3, "air", "temperature_counts H 1 count, humidity_counts H 1 count, "
        "humidity_temperature_counts H 1 count"),
    (4, "fix", "latitude i 5000000 deg, longitude i 5000000 deg, height i 100 m, speed H 100 m/s, "
        "course H 100 deg, vertical_speed h 100 m/s, satellites B 1 1, quality B 1 1, hdop B 10 1, "
        "day H 1 d, time_of_day I 1000 s"),
    (5, "motion", "acceleration_x_counts h 1 count, acceleration_y_counts h 1 count, "
        "acceleration_z_counts h 1 count, rate_x_counts h 1 count, rate_y_counts h 1 count, "
        "rate_z_counts h 1 count"),
    (6, "power", "battery_counts H 1 count, rail_counts H 1 count, "
        "board_temperature_counts h 1 count"),
    (7, "health", "queue_fill B 1 1, missed_samples H 1 1, write_time_last H 1000 s, "
        "write_time_slowest H 1000 s, card_errors H 1 1, free_heap I 1 byte, reset_cause B 1 1"),
    (8, "event", "code B 1 1, subject B 1 1, detail i 1 1"),
    (9, "text", "part B 1 1, parts B 1 1, characters 24s 1 1"),
    (10, "probe", "probe B 1 1, temperature_counts h 1 count"), (11, "beacon", "latitude i 5000000 deg, "
        "longitude i 5000000 deg, height H 1 m, fix_age H 1 s, phase B 1 1, battery_counts H 1 count"),
]}  # fmt: skip


def decode_record(data, offset, kinds):
    """Return (kind name, difference, values, size); a value is a number, None if missing, or the
    hexadecimal digits of text: a piece of text may end inside a character, so join, then decode."""
    check(data[offset] in kinds, f"unknown kind {data[offset]}")
    name, fields = kinds[data[offset]]
    layout = "<Bh" + "".join(wire_type for _, wire_type, _, _ in fields)
    size, values = struct.calcsize(layout), {}
    check(offset + size <= len(data), f"a record of kind {data[offset]} is cut short")
    _, difference, *stored = struct.unpack_from(layout, data, offset)
    for (field, wire_type, divisor, _), value in zip(fields, stored, strict=True):
        if wire_type.endswith("s"):
            values[field] = value.hex()
        else:
            number = value if divisor == 1 else value / divisor
            values[field] = None if value == MISSING[wire_type] else number
    return name, difference, values, size  # the difference is never "missing", not even -32768


def decode_records(data, tick, kinds):
    """Return the records up to the first that cannot be read, and how many bytes they took."""
    records, at = [], 0
    while at < len(data):
        try:
            name, difference, values, size = decode_record(data, at, kinds)
        except ValueError:
            break  # without its size, nobody knows where the next record begins
        records.append((name, (tick + difference) % 2**29, values))
        at += size
    return records, at


def crc32(data):
    """CRC-32/ISO-HDLC. Reflected: 0x04C11DB7 with its 32 bits in reverse order, shifting right."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xEDB88320 if crc & 1 else crc >> 1
    return crc ^ 0xFFFFFFFF


def decode_block(block, kinds):
    """Return (header, [(kind name, tick, values)]); ValueError if this is no block of version 1."""
    check(len(block) == 512 and block[0:4] == MAGIC, "not 512 bytes that begin with the magic")
    check(crc32(block[:508]).to_bytes(4, "little") == block[508:], "wrong CRC-32")
    # Only from here on is the header believed.
    version, flags, depth, rate, flight, place = struct.unpack_from("<BBBB4sI", block, 4)
    check(version == 1, f"version {version} is not known")
    header = {"flags": flags, "depth": depth, "rate": rate, "flight": flight.hex(), "place": place}
    if flags:
        return header, []  # parity or something newer: the block counts, its contents do not
    number, boot, tick, used, phase = struct.unpack_from("<IHIHB", block, 16)
    header |= {"number": number, "boot": boot, "tick": tick, "used": used, "phase": phase}
    check(used <= 508 - 29, "more bytes used than there are")
    records, took = decode_records(block[29 : 29 + used], tick, kinds)
    header["unread"] = used - took  # not 0 if a kind was not known
    return header, records


def crc16(data):
    """CRC-16/IBM-3740. Not reflected: each byte enters at the top, shifting left."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def decode_packet(packet, kinds):
    """As decode_block. The bytes begin with a packet; what follows it is not looked at."""
    check(len(packet) >= 13 and packet[0:2] == SYNC, "too short or no sync")
    _, length, flight, boot, number, tick = struct.unpack_from("<2sBBBHI", packet)
    end = 11 + length
    check(1 <= length <= 200 and end + 2 <= len(packet), "wrong length")
    check(crc16(packet[2:end]).to_bytes(2, "little") == packet[end : end + 2], "wrong CRC-16")
    header = {"length": length, "flight": flight, "boot": boot, "number": number, "tick": tick}
    records, took = decode_records(packet[11:end], tick, kinds)
    check(took == length, "known kinds do not fill it")  # a packet counts whole or not at all
    return header, records


def join_manifest(pieces):
    """The text from its pieces (whole records, or their values), in any order, repeated or not."""
    pieces = [decode_record(p, 0, KINDS)[2] if isinstance(p, bytes) else p for p in pieces]
    text = {piece["part"]: bytes.fromhex(piece["text"]) for piece in pieces}
    parts = range(pieces[0]["parts"] or 0) if pieces else ()
    check(parts and all(part in text for part in parts), "pieces of the manifest are missing")
    data = b"".join(text[part] for part in parts).rstrip(b"\0")
    end = data.rfind(b"\nend ") + 1  # the newline before "end" is covered by the CRC
    check(data[end:].lower() == b"end %08x\n" % crc32(data[:end]), "wrong CRC-32 in the manifest")
    return data.decode("utf-8")


def read_manifest(text):
    """Return (kinds, other lines); an other line is (first word, rest of the line)."""
    kinds, other, fields = {}, [], []
    for line in text.split("\n")[:-1]:
        word, _, rest = line.partition(" ")
        if word == "kind":
            number, name = rest.split(" ")
            kinds[int(number)] = (name, fields := [])
        elif word == "field":
            fields.append(read_field(rest))  # of the kind above it
        else:
            other.append((word, rest))
    check(other[:1] == [("loftbook", "1")], "not a manifest of version 1")
    return kinds, other


def scan(data, tables=None):
    """Return [(offset, "block" or "packet", header, records)] of all that stands at any offset.
    `tables`: the kinds of the boots, named by header["owner"], whose manifest is known."""
    found, at, start = [], 0, re.compile(re.escape(MAGIC) + b"|" + re.escape(SYNC))
    while match := start.search(data, at):
        at, is_block = match.start(), match[0] == MAGIC
        decode, size = (decode_block, 512) if is_block else (decode_packet, 213)
        owner = data[at + 8 : at + 12] + data[at + 20 : at + 22] if is_block else data[at + 3 : at + 5]
        try:
            header, records = decode(data[at : at + size], (tables or {}).get(owner, KINDS))
        except ValueError:
            at = match.end()  # damage or a chance likeness: look on right behind it
            continue
        found.append((at, "block" if is_block else "packet", header | {"owner": owner}, records))
        at += 512 if is_block else 13 + header["length"]
    return found


def main(path):
    data = pathlib.Path(path).read_bytes()
    pieces, tables = {}, {}
    for _, _, header, records in scan(data):  # once for the manifests, then again with their kinds
        if records:
            found = [values for name, _, values in records if name == "manifest"]
            pieces.setdefault(header["owner"], []).extend(found)
    for owner, found in pieces.items():
        try:
            tables[owner] = KINDS | read_manifest(join_manifest(found))[0]
        except ValueError as problem:
            print(f"# {owner.hex()} is read with the page's kinds: {problem}", file=sys.stderr)
    for at, what, header, records in scan(data, tables):
        for name, tick, values in records:
            words = " ".join(f"{key}={value}" for key, value in values.items())
            print(what, header["flight"], header["boot"], header["number"], tick, name, words)
        if header.get("flags", 0) & 1 == 0 and header.get("flags") or header.get("unread"):
            print(f"# {what} at {at}: not all of it could be read", file=sys.stderr)


if __name__ == "__main__":
    main(sys.argv[1])
