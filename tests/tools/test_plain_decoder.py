"""The plain decoder, written from the format's description alone, reads all test vectors."""

import ast
import importlib.util
import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DECODER = ROOT / "tools" / "plain_decoder.py"
VECTORS = json.loads(
    (Path(__file__).resolve().parent.parent / "data" / "vectors.json").read_text(encoding="utf-8")
)

spec = importlib.util.spec_from_file_location("plain_decoder", DECODER)
plain = importlib.util.module_from_spec(spec)
spec.loader.exec_module(plain)

# The sizes that the description states, with kind and time.
SIZES = {1: 53, 2: 11, 3: 9, 4: 30, 5: 15, 6: 9, 7: 17, 8: 9, 9: 29, 10: 6, 11: 18}


def case(vector):
    return f"{vector.get('kind', '')} {vector['case']}".strip()


def packed(vectors):
    return [bytes.fromhex(vector["hex"]) for vector in VECTORS[vectors]]


def listed(records):
    return [{"kind": name, "tick": tick, "values": values} for name, tick, values in records]


def sealed_block(block):
    return bytes(block[:508]) + plain.crc32(block[:508]).to_bytes(4, "little")


def sealed_packet(header_and_records):
    crc = plain.crc16(header_and_records).to_bytes(2, "little")
    return plain.SYNC + bytes(header_and_records) + crc


def block_of(records, number=0, boot=3, flight="5f3a1c22"):
    block = bytearray(512)
    block[0:4] = plain.MAGIC
    block[4] = 1
    block[20:22] = boot.to_bytes(2, "little")
    block[8:12] = bytes.fromhex(flight)
    block[16:20] = number.to_bytes(4, "little")
    block[26:28] = len(records).to_bytes(2, "little")
    block[29 : 29 + len(records)] = records
    return sealed_block(block)


def manifest_pieces(text):
    data = text.encode("utf-8")
    data += f"end {plain.crc32(data):08x}\n".encode()
    cuts = [data[at : at + 48].ljust(48, b"\0") for at in range(0, len(data), 48)]
    return [bytes([1, 0, 0, part, len(cuts)]) + cut for part, cut in enumerate(cuts)]


# --- check sums ---


def test_check_values_of_the_check_sums():
    assert plain.crc32(b"123456789") == 0xCBF43926
    assert plain.crc16(b"123456789") == 0x29B1


# --- records ---


def test_kinds_have_the_sizes_that_the_description_states():
    sizes = {}
    for number in plain.KINDS:
        sizes[number] = plain.decode_record(bytes([number]) + bytes(99), 0, plain.KINDS)[3]
    assert sizes == SIZES


def test_every_kind_has_a_vector():
    kinds = {name for name, _ in plain.KINDS.values()}
    assert {vector["kind"] for vector in VECTORS["records"]} == kinds


@pytest.mark.parametrize("vector", VECTORS["records"], ids=case)
def test_record(vector):
    data = bytes.fromhex(vector["hex"])
    name, difference, values, size = plain.decode_record(data, 0, plain.KINDS)
    assert (name, difference, size) == (vector["kind"], vector["difference"], len(data))
    assert values == vector["values"]
    assert list(values) == list(vector["values"])


@pytest.mark.parametrize("vector", VECTORS["records"], ids=case)
def test_record_behind_other_bytes_and_cut_short(vector):
    data = bytes.fromhex(vector["hex"])
    assert plain.decode_record(b"\x07\x08" + data + b"\x09", 2, plain.KINDS)[2] == vector["values"]
    for length in range(1, len(data)):
        with pytest.raises(ValueError, match="cut short"):
            plain.decode_record(data[:length], 0, plain.KINDS)


def test_kind_0_is_no_record():
    with pytest.raises(ValueError, match="unknown kind 0"):
        plain.decode_record(bytes(60), 0, plain.KINDS)


# --- blocks ---


@pytest.mark.parametrize("vector", VECTORS["blocks"], ids=case)
def test_block(vector):
    header, records = plain.decode_block(bytes.fromhex(vector["hex"]), plain.KINDS)
    assert {key: header[key] for key in vector["header"]} == vector["header"]
    assert (header["flags"], header["unread"]) == (0, 0)
    assert listed(records) == vector["records"]


def test_block_with_one_flipped_bit_is_refused():
    block = packed("blocks")[0]
    draw = random.Random(1)
    for at in range(512):
        damaged = bytearray(block)
        damaged[at] ^= 1 << draw.randrange(8)
        with pytest.raises(ValueError):
            plain.decode_block(bytes(damaged), plain.KINDS)


@pytest.mark.parametrize("length", [0, 3, 4, 511, 513])
def test_block_of_another_length_is_refused(length):
    with pytest.raises(ValueError):
        plain.decode_block((packed("blocks")[0] + b"\0")[:length], plain.KINDS)


def test_block_of_another_version_is_refused():
    block = bytearray(packed("blocks")[0])
    block[4] = 2
    with pytest.raises(ValueError, match="version 2"):
        plain.decode_block(sealed_block(block), plain.KINDS)


@pytest.mark.parametrize("flags", [1, 2, 128])
def test_contents_of_a_block_with_a_flag_are_skipped(flags):
    block = bytearray(packed("blocks")[0])
    block[5] = flags
    header, records = plain.decode_block(sealed_block(block), plain.KINDS)
    assert header["flight"] == "5f3a1c22" and "boot" not in header
    assert records == []


def test_block_that_says_more_used_than_there_is_is_refused():
    block = bytearray(packed("blocks")[0])
    block[26:28] = (480).to_bytes(2, "little")
    with pytest.raises(ValueError, match="used"):
        plain.decode_block(sealed_block(block), plain.KINDS)


def test_records_before_an_unknown_kind_are_kept():
    event = bytes.fromhex("08fa00658aaf000000")
    header, records = plain.decode_block(block_of(event + b"\xc8\0\0\x01" + event), plain.KINDS)
    assert [name for name, _, _ in records] == ["event"]
    assert header["unread"] == 13


# --- packets ---


@pytest.mark.parametrize("vector", VECTORS["packets"], ids=case)
def test_packet(vector):
    data = bytes.fromhex(vector["hex"])
    for tail in (b"", b"\x9e\x4c\x00"):
        header, records = plain.decode_packet(data + tail, plain.KINDS)
        assert {key: header[key] for key in vector["header"]} == vector["header"]
        assert header["length"] == len(data) - 13
        assert listed(records) == vector["records"]


@pytest.mark.parametrize("vector", VECTORS["packets"], ids=case)
def test_packet_cut_short_or_with_one_flipped_bit_is_refused(vector):
    data = bytes.fromhex(vector["hex"])
    for length in range(len(data)):
        with pytest.raises(ValueError):
            plain.decode_packet(data[:length], plain.KINDS)
    for bit in range(8 * len(data)):
        damaged = bytearray(data)
        damaged[bit // 8] ^= 1 << bit % 8
        with pytest.raises(ValueError):
            plain.decode_packet(bytes(damaged), plain.KINDS)


def test_packet_counts_only_if_known_kinds_fill_it():
    event = bytes.fromhex("08fa00658aaf000000")
    header = bytes.fromhex("5f010000e8030000")
    assert plain.decode_packet(sealed_packet(b"\x09" + header + event), plain.KINDS)
    for records in (event + b"\x00", event + b"\xc8\0\0\x01", event[:-1], event + event[:4]):
        with pytest.raises(ValueError, match="fill"):
            plain.decode_packet(
                sealed_packet(bytes([len(records)]) + header + records), plain.KINDS
            )


@pytest.mark.parametrize("length", [0, 201, 207])
def test_packet_of_a_forbidden_length_is_refused(length):
    event = bytes.fromhex("08fa00658aaf000000")
    records = (event * 23)[:length]
    packet = sealed_packet(bytes([length]) + bytes(8) + records)
    with pytest.raises(ValueError, match="length"):
        plain.decode_packet(packet, plain.KINDS)


# --- the manifest ---


def test_manifest():
    pieces = [bytes.fromhex(piece) for piece in VECTORS["manifest"]["pieces"]]
    text = VECTORS["manifest"]["text"]
    assert plain.join_manifest(pieces) == text
    kinds, other = plain.read_manifest(text)
    assert kinds == plain.KINDS
    assert other[0] == ("loftbook", "1")
    assert other[2] == ("payload", "Napraforgo-1 (invented)")
    assert ("flight", "5f3a1c22") in other
    assert ("sensor", "barometer ms5611 40127 36924 23317 23282 33464 28312") in other
    assert ("sensor", "humidity sht3x") in other
    assert ("rate", "motion 100") in other
    assert other[-1][0] == "end"


def test_manifest_pieces_in_any_order_and_repeated():
    pieces = [bytes.fromhex(piece) for piece in VECTORS["manifest"]["pieces"]]
    assert plain.join_manifest(pieces[20:] + pieces[::-1]) == VECTORS["manifest"]["text"]


def test_manifest_with_a_missing_or_wrong_piece_is_refused():
    pieces = [bytes.fromhex(piece) for piece in VECTORS["manifest"]["pieces"]]
    with pytest.raises(ValueError, match="missing"):
        plain.join_manifest([])
    for part in range(len(pieces)):
        with pytest.raises(ValueError, match="missing"):
            plain.join_manifest(pieces[:part] + pieces[part + 1 :])
        wrong = bytearray(pieces[part])
        wrong[6] ^= 1
        with pytest.raises(ValueError, match="CRC-32"):
            plain.join_manifest(pieces[:part] + [bytes(wrong)] + pieces[part + 1 :])


def test_manifest_of_another_version_or_with_an_unknown_wire_type_is_refused():
    text = VECTORS["manifest"]["text"]
    with pytest.raises(ValueError, match="version 1"):
        plain.read_manifest(text.replace("loftbook 1", "loftbook 2"))
    with pytest.raises(ValueError, match="wire type"):
        plain.read_manifest(text.replace("detail i 1 1", "detail q 1 1"))


def test_manifest_cut_inside_a_character():
    text = "loftbook 1\nfirmware 1\npayload x" + "á" * 40 + "\nunheard-of line\n"
    pieces = manifest_pieces(text)
    with pytest.raises(UnicodeDecodeError):
        pieces[0][5:].decode("utf-8")
    joined = plain.join_manifest(pieces)
    assert joined.startswith(text)
    assert plain.read_manifest(joined)[1][2] == ("payload", "x" + "á" * 40)


# --- finding ---


def embedded():
    """Noise, and in it every block and packet of the vectors, and where they begin."""
    draw = random.Random(2)
    data, begins = draw.randbytes(777), []
    for vectors, what in (("blocks", "block"), ("packets", "packet")):
        for vector, envelope in zip(VECTORS[vectors], packed(vectors), strict=True):
            begins.append((len(data), what, vector))
            data += envelope
            # Among the noise: the beginnings alone, and envelopes that were cut off.
            data += plain.MAGIC + plain.SYNC + b"\xc8" + envelope[:37] + draw.randbytes(301)
    return data + plain.SYNC, begins


def test_scan_finds_blocks_and_packets_in_noise():
    data, begins = embedded()
    found = plain.scan(data)
    assert [(at, what) for at, what, _, _ in found] == [(at, what) for at, what, _ in begins]
    for (_, _, header, records), (_, _, vector) in zip(found, begins, strict=True):
        assert {key: header[key] for key in vector["header"]} == vector["header"]
        assert listed(records) == vector["records"]


def test_scan_loses_only_the_damaged_block():
    data, begins = embedded()
    damaged = bytearray(data)
    damaged[begins[1][0] + 100] ^= 4
    assert [at for at, _, _, _ in plain.scan(bytes(damaged))] == [
        at for at, _, _ in begins if at != begins[1][0]
    ]


def test_scan_finds_a_packet_inside_what_looked_like_a_packet():
    packet = packed("packets")[0]
    data = plain.SYNC + b"\x40\x00" + plain.SYNC + packet + bytes(80)
    assert [at for at, _, _, _ in plain.scan(data)] == [6]


def test_scan_of_nothing_and_of_noise():
    assert plain.scan(b"") == []
    assert plain.scan(random.Random(3).randbytes(1 << 20)) == []


# --- the program ---


def run(path):
    return subprocess.run(
        [sys.executable, str(DECODER), str(path)], capture_output=True, encoding="utf-8", check=True
    )


def test_program_prints_one_line_a_record(tmp_path):
    data, begins = embedded()
    (tmp_path / "card").write_bytes(data)
    lines = run(tmp_path / "card").stdout.splitlines()
    assert len(lines) == sum(len(vector["records"]) for _, _, vector in begins)
    assert lines[1].startswith("block 5f3a1c22 1 0 1010 pressure pressure_counts=101 ")
    assert lines[-1].startswith("packet 95 2 9 0 text part=101 parts=138 characters=4e6170")


def test_program_reads_with_the_kinds_of_the_manifest_of_that_boot(tmp_path):
    text = VECTORS["manifest"]["text"]
    text = text[: text.rindex("end ")] + "kind 200 light\nfield brightness H 10 lx\n"
    detail = "field detail i 1 1\n"
    pieces = manifest_pieces(text.replace(detail, detail + "field more B 1 1\n"))
    card = b""
    for at in range(0, len(pieces), 9):
        card += block_of(b"".join(pieces[at : at + 9]), number=at // 9)
    light, event = b"\xc8\x05\x00\x0f\x00", bytes.fromhex("08fa00658aaf000000")
    card += block_of(event + b"\x2a" + light, number=99)  # events of this boot have one more field
    card += block_of(event + light, number=100, boot=4)  # a boot without a manifest
    (tmp_path / "card").write_bytes(card)
    result = run(tmp_path / "card")
    assert result.stdout.splitlines()[len(pieces) :] == [
        "block 5f3a1c22 3 99 250 event code=101 subject=138 detail=175 more=42",
        "block 5f3a1c22 3 99 5 light brightness=1.5",
        "block 5f3a1c22 4 100 250 event code=101 subject=138 detail=175",
    ]
    assert "not all of it could be read" in result.stderr


# --- being plain and independent ---


def test_decoder_is_short_and_imports_only_the_standard_library():
    source = DECODER.read_text(encoding="utf-8")
    assert len(source.splitlines()) < 200
    imported = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add("." if node.level else node.module.split(".")[0])
    assert imported <= set(sys.stdlib_module_names)
    assert not imported & {"binascii", "zlib", "importlib"}
    assert "__import__" not in source


@pytest.mark.parametrize("vector", VECTORS["refused"], ids=case)
def test_what_only_looks_right_is_refused(vector):
    data = bytes.fromhex(vector["hex"])
    with pytest.raises(ValueError):
        {"block": plain.decode_block, "packet": plain.decode_packet}[vector["envelope"]](data, plain.KINDS)
    assert plain.scan(data + bytes(600)) == []


def test_a_lost_block_comes_back_from_the_parity_as_the_page_says():
    stripe = VECTORS["parity_stripe"]
    depth, rate = stripe["depth"], stripe["rate"]
    sectors = [bytes.fromhex(sector) for sector in stripe["sectors"]]
    for lost in range(depth * rate):
        if lost == stripe["torn_place"]:
            continue
        parity = sectors[depth * rate + lost % depth]
        header, _ = plain.decode_block(parity, plain.KINDS)
        taken = [k for k in range(rate) if lost % depth + depth * k != stripe["torn_place"]]
        assert header["flags"] == 1 | len(taken) << 1 and header["place"] == depth * rate + lost % depth
        rest = bytearray(parity[16:508])
        for k in range(rate):
            member = lost % depth + depth * k
            if member not in (lost, stripe["torn_place"]):
                rest = bytearray(a ^ b for a, b in zip(rest, sectors[member][20:512], strict=True))
        number = lost if lost < 4 else lost - 4
        start = plain.MAGIC + bytes([1, 0, depth, rate]) + parity[8:12] + lost.to_bytes(4, "little")
        rebuilt = start + number.to_bytes(4, "little") + bytes(rest)
        assert rebuilt == sectors[lost]
        plain.decode_block(rebuilt, plain.KINDS)
