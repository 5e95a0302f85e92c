from struct import pack

import pytest
from built_images import FLIGHT, LAYOUTS, Writer, recover_bytes, recovered_keys, written_log
from foreign_kinds import AnyRecord, newer_lines, proven

from ground.layout import OWN_KINDS
from ground.recover.manifest import is_proven, parse_manifest
from protocol.block import BLOCK_FIRST, BlockBuilder
from protocol.tick import tick_difference


def log_with_foreign_kind(text=None):
    """Blocks with motion records around each record of kind 200 (fields: a 'B', b 'i')."""
    writer = Writer().add_manifest(text)
    builder = writer._builder
    ticks = []
    for i in range(60):
        writer.add("motion", 1000 + 40 * i)
        record = AnyRecord(200, pack("<Bi", i, -i))
        tick = 1020 + 40 * i
        if not builder.fits(record, tick):
            writer.close()
            builder.open(tick)
        builder.add(record, tick)
        assert abs(tick_difference(tick, builder.tick)) < 32768
        ticks.append(tick)
    writer.close()
    return writer, ticks


def test_a_kind_that_this_program_does_not_know_is_read_by_the_manifest(tmp_path):
    log, ticks = log_with_foreign_kind(proven(newer_lines()))
    [boot] = recover_bytes(tmp_path, b"".join(log.envelopes)).boots
    ozone = boot.records.pop("ozone")
    assert ozone.tick_ms.tolist() == ticks
    assert ozone.values["a"].tolist() == list(range(60))
    assert ozone.values["b"].tolist() == [-i for i in range(60)]
    assert [(f.name, f.wire, f.divisor, f.unit) for f in ozone.layout.fields] == [
        ("a", "B", 1, "1"), ("b", "i", 1000, "ppm")
    ]
    assert recovered_keys(boot, FLIGHT) == log.keys()
    assert boot.unreadable_records == 0


def test_without_the_manifest_records_before_the_unknown_kind_count(tmp_path):
    log, _ = log_with_foreign_kind()
    [boot] = recover_bytes(tmp_path, b"".join(log.envelopes)).boots
    keys = recovered_keys(boot, FLIGHT)
    assert "ozone" not in boot.records
    assert boot.unreadable_records > 0
    assert keys < log.keys()
    # Each block opens with a manifest piece, a motion record, or the foreign kind itself.
    assert sum(keys.values()) >= boot.unreadable_records // 2


def test_pieces_of_different_repeats_make_one_manifest(tmp_path):
    writer = Writer()
    for _ in range(3):
        writer.add_manifest().add_rounds(20)
    writer.close()
    # Each repeat loses another third of its blocks.
    holders = [i for i, block in enumerate(writer.envelopes) if block[BLOCK_FIRST] == 1]
    lost = {holders[0], holders[-1]}
    kept = [block for i, block in enumerate(writer.envelopes) if i not in lost]
    [boot] = recover_bytes(tmp_path, b"".join(kept)).boots
    assert boot.manifest.text.encode() == writer.text
    assert recovered_keys(boot, FLIGHT) == writer.keys(but=lost)


def test_a_piece_that_was_misread_once_does_not_spoil_the_repeats(tmp_path):
    writer = Writer()
    layout = LAYOUTS["manifest"]
    layout.values[:] = [2, -(-len(writer.text) // 48), b"something else"]
    writer._put(layout, writer.now_ms)
    writer.add_manifest().add_rounds(3).add_manifest()
    writer.close()
    [boot] = recover_bytes(tmp_path, b"".join(writer.envelopes)).boots
    assert boot.manifest.text.encode() == writer.text


@pytest.mark.parametrize(("part", "parts"), [(5, 1), (0, 0), (1, 1), (255, 255), (0, 255), (0, 1)])
def test_pieces_that_make_no_whole_make_no_manifest(tmp_path, part, parts):
    writer = Writer()
    layout = LAYOUTS["manifest"]
    layout.values[:] = [part, parts, b"end 00000000\n"]
    writer._put(layout, writer.now_ms)
    writer.close()
    [boot] = recover_bytes(tmp_path, b"".join(writer.envelopes)).boots
    # "end" and the CRC-32 of nothing is proven, and says nothing: it is not this boot's.
    assert boot.manifest is None


def test_a_manifest_is_read_word_for_word(tmp_path):
    [boot] = recover_bytes(tmp_path, b"".join(written_log(rounds=2).envelopes)).boots
    manifest = boot.manifest
    assert (manifest.version, manifest.firmware, manifest.payload) == (1, "0.1.0", "Napraforgo-1")
    assert (manifest.flight, manifest.boot, manifest.configuration) == (FLIGHT.hex(), 1, "0badcafe")
    assert manifest.kinds == OWN_KINDS
    assert manifest.sensors == {
        "barometer": ("ms5611", ("40127", "36924", "23317", "23282", "33464", "28312"))
    }
    assert manifest.rates == {"motion": 20}


def test_a_payload_name_may_hold_spaces_and_any_letters():
    manifest = parse_manifest(proven(["loftbook 1", "payload Napraforgó 1 a", "boot 7 x"]))
    assert (manifest.payload, manifest.boot) == ("Napraforgó 1 a", 7)


def test_a_manifest_of_another_boot_is_not_used(tmp_path):
    writer = Writer(boot=2).add_manifest(Writer(boot=1).text).add_rounds(3)
    writer.close()
    recovered = recover_bytes(tmp_path, b"".join(writer.envelopes))
    assert recovered.boots[0].manifest is None
    assert recovered_keys(recovered.boots[0], FLIGHT) == writer.keys()


@pytest.mark.parametrize("change", [
    lambda text: text[:-2] + b"0\n" if text[-2:-1] != b"0" else text[:-2] + b"1\n",
    lambda text: text[:-1],
    lambda text: text.replace(b"Napraforgo", b"Napraforga"),
    lambda text: text + b"more\n",
    lambda text: text[1:],
])
def test_text_whose_last_line_is_not_right_is_not_proven(change):
    text = Writer().text
    assert is_proven(text)
    assert not is_proven(change(text))


@pytest.mark.parametrize("line", [
    "kind", "kind 0 zero", "kind 256 high", "kind x name", "kind -3 name", "kind 200", "field",
    "field a B", "sensor", "sensor role", "rate", "rate motion", "rate motion fast", "boot", "boot x",
    "loftbook", "",
    "kind 99999999999999999999 name", "flight", "kind ² name", "rate motion 99999999999999999999", " ", "end",
])
def test_a_malformed_line_costs_only_itself(line):
    lines = newer_lines()
    manifest = parse_manifest(proven([*lines, line, "rate air 1000"]))
    assert manifest.rates["air"] == 1000
    assert manifest.kinds[:len(OWN_KINDS)] == OWN_KINDS
    assert manifest.boot == 1


@pytest.mark.parametrize("field", [
    "field c q 1 1", "field c 0s 1 1", "field c 9999s 1 1", "field c B 0 1", "field c B x 1", "field c s 1 1",
    "field c ²s 1 1", "field c", "field a B 1 1", "field c 99999999999999999999999s 1 1",
])
def test_a_kind_with_a_field_of_unknown_size_is_of_unknown_size_itself(field):
    lines = ["kind 200 ozone", "field a B 1 1", field, "kind 201 other", "field a B 1 1"]
    assert [kind.name for kind in parse_manifest(proven(lines)).kinds] == ["other"]


@pytest.mark.parametrize("word", ["5A00C300", "5a00c3", "../../up", "5a00c300ff", ""])
def test_only_eight_digits_name_a_flight(word):
    assert parse_manifest(proven(["loftbook 1", "flight " + word])).flight == ""


def test_a_kind_is_described_once():
    lines = ["kind 200 a", "field x B 1 1", "kind 200 b", "field x H 1 1", "kind 201 a", "field x H 1 1"]
    [kind] = parse_manifest(proven(lines)).kinds
    assert (kind.number, kind.name, kind.payload_size) == (200, "a", 1)


def test_a_kind_without_fields_is_read(tmp_path):
    lines = Writer().text.decode().splitlines()[:-1]
    writer = Writer().add_manifest(proven([*lines, "kind 210 mark"]))
    writer.add("motion", 50)
    writer._builder.add(AnyRecord(210, b""), 60)
    writer.add("motion", 70)
    writer.close()
    [boot] = recover_bytes(tmp_path, b"".join(writer.envelopes)).boots
    assert boot.records.pop("mark").tick_ms.tolist() == [60]
    assert recovered_keys(boot, FLIGHT) == writer.keys()


@pytest.mark.parametrize("tail", [b"\x00\x01\x02", b"\x02\x00", b"\x05\x00\x00\x00"])
def test_a_record_that_does_not_end_in_its_block_stops_the_walk(tmp_path, tail):
    builder = BlockBuilder()
    builder.open(5)
    LAYOUTS["power"].values[:] = [1, 2, 3]
    builder.add(LAYOUTS["power"], 6)
    start = BLOCK_FIRST + builder.used
    builder.buffer[start:start + len(tail)] = tail
    builder.used += len(tail)
    builder.close(FLIGHT, 1, 0, 0)
    [boot] = recover_bytes(tmp_path, bytes(builder.buffer)).boots
    assert boot.records["power"].values.tolist() == [(1, 2, 3)]
    assert list(boot.records) == ["power"]
    assert boot.unreadable_records == 1
