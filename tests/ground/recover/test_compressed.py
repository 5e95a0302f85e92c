"""Compressed sources: expanded as they are read, used up to where they are damaged, never without bound."""

import gzip
import io
import random
import tempfile
import tracemalloc
import zlib
from collections import Counter
from functools import partial

import pytest
import zstandard
from built_images import FLIGHT, Writer, losses, recovered_keys, written_log
from foreign_kinds import AnyRecord, newer_lines, proven
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ground.errors import LoftbookError
from ground.recover import expanded, recover_source
from ground.recover.expand import Broken, Input, compression_of, expand
from ground.recover.spool import Spool

GZIP, ZSTD = "gzip", "zstd"
NOT_READABLE = "its place could not be read"
COMPRESS = {GZIP: partial(gzip.compress, mtime=0), ZSTD: zstandard.ZstdCompressor(write_checksum=True).compress}
LOG = written_log(rounds=900)
SENT = written_log(rounds=8, packets=True, boot=2)
ROOM = 8192


def image():
    """A small card: unwritten space, the log, packets between noise, unwritten space."""
    noise = random.Random(8).randbytes(3000)
    return bytes(ROOM) + b"".join(LOG.envelopes) + noise + b"".join(SENT.envelopes) + bytes(50_000)


def recover_compressed(tmp_path, data, name="napraforgo-card.img"):
    path = tmp_path / name
    path.write_bytes(data)
    recovered = recover_source(path)
    recovered.ledger.check()
    return recovered


def expanded_bytes(compression, data):
    """(what comes out, why it ends, notes)."""
    pieces, notes = [], []
    try:
        for piece in expand(compression, Input(io.BytesIO(data)), notes.append):
            pieces.append(piece)
    except Broken as broken:
        return b"".join(pieces), str(broken), notes
    return b"".join(pieces), None, notes


@pytest.mark.parametrize("compression", COMPRESS)
def test_a_compressed_card_is_known_by_its_first_bytes_and_gives_the_same(tmp_path, compression):
    plain = recover_compressed(tmp_path, image(), "plain.img")
    packed = recover_compressed(tmp_path, COMPRESS[compression](image()))
    assert packed.ledger.ranges == plain.ledger.ranges
    assert packed.ledger.losses == plain.ledger.losses == []
    assert recovered_keys(packed.boots[0], FLIGHT) == LOG.keys()
    assert recovered_keys(packed.boots[1], FLIGHT) == SENT.keys()
    entry = packed.ledger.to_json()["source"]
    assert (entry["size"], entry["compression"]) == (len(image()), compression)
    assert entry["file_size"] == (tmp_path / "napraforgo-card.img").stat().st_size


def test_only_what_the_standards_describe_is_taken_for_compressed():
    # RFC 1952, 2.3.1: ID1, ID2, CM = 8; bits 5 to 7 of FLG are reserved and zero. RFC 8878, 3.1.1.
    assert compression_of(b"\x1f\x8b\x08\x00") == GZIP
    assert compression_of(b"\x28\xb5\x2f\xfd") == ZSTD
    others = (b"\x1f\x8b\x07\x00", b"\x1f\x8b\x08\x20", b"\x1f\x8b\x08", b"\x28\xb5\x2f\xfc", b"")
    for head in others:
        assert compression_of(head) is None


def test_a_gzip_member_with_every_optional_field_is_expanded():
    # RFC 1952, 2.3: FLG = FTEXT FHCRC FEXTRA FNAME FCOMMENT, MTIME, XFL, OS = unknown.
    packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
    body = packer.compress(b"sunflower") + packer.flush()
    header = b"\x1f\x8b\x08\x1f" + bytes(5) + b"\xff" + b"\x06\x00ab\x02\x00xy" + b"card.img\0" + b"wet\0"
    header += (zlib.crc32(header) & 0xFFFF).to_bytes(2, "little")
    trailer = zlib.crc32(b"sunflower").to_bytes(4, "little") + (9).to_bytes(4, "little")
    assert expanded_bytes(GZIP, header + body + trailer) == (b"sunflower", None, [])


def test_a_zstd_frame_made_by_hand_is_expanded():
    # RFC 8878, 3.1.1: magic; descriptor 0x20 = single segment, one byte of content size; then a raw block
    # of 3 bytes, and a last run-length block: 4 times 'x'. Block header: last, type, size in 21 bits.
    frame = b"\x28\xb5\x2f\xfd" + b"\x20\x07" + (3 << 3).to_bytes(3, "little") + b"abc"
    frame += (4 << 3 | 1 << 1 | 1).to_bytes(3, "little") + b"x"
    assert expanded_bytes(ZSTD, frame) == (b"abcxxxx", None, [])
    # 3.1.2: a skippable frame holds no data.
    skippable = (0x184D2A53).to_bytes(4, "little") + (5).to_bytes(4, "little") + b"other"
    assert expanded_bytes(ZSTD, frame + skippable + frame) == (b"abcxxxx" * 2, None, [])


@pytest.mark.parametrize("compression", COMPRESS)
def test_members_that_follow_each_other_are_one_source(tmp_path, compression):
    half = ROOM + 512 * 7 + 100
    packed = COMPRESS[compression](image()[:half]) + COMPRESS[compression](image()[half:])
    recovered = recover_compressed(tmp_path, packed)
    assert recovered.ledger.size == len(image())
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()
    assert not recovered.ledger.has_losses


def test_zeros_behind_gzip_are_filling_and_anything_else_is_told(tmp_path):
    packed = gzip.compress(image())
    assert not recover_compressed(tmp_path, packed + bytes(70_000)).ledger.has_losses
    ledger = recover_compressed(tmp_path, packed + b"\0\0more").ledger
    assert ledger.doubts == [
        f"the rest of napraforgo-card.img, which is not gzip from byte {len(packed) + 2} on"
    ]
    assert ledger.has_losses


@pytest.mark.parametrize(("compression", "rest_is_known"), [(GZIP, False), (ZSTD, True)])
def test_what_was_expanded_before_the_file_was_cut_off_is_used(tmp_path, compression, rest_is_known):
    packed = COMPRESS[compression](image())
    cut = packed[:len(packed) * 4 // 5]
    before, why, _ = expanded_bytes(compression, cut)
    assert image().startswith(before) and ROOM < len(before) < len(image())
    assert why == f"ends in the middle, after {len(cut)} bytes: it was cut off"
    recovered = recover_compressed(tmp_path, cut)
    whole = (len(before) - ROOM) // 512
    assert 0 < whole < len(LOG.envelopes)
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but=range(whole, len(LOG.envelopes)))
    last = recovered.ledger.ranges[-1]
    assert (last.offset, last.state) == (len(before), "unreadable")
    # RFC 8878, 3.1.1.1.4: a zstd frame tells its content size; gzip tells it only at its end.
    assert last.length == (len(image()) - len(before) if rest_is_known else 0)
    assert ("length" in last.detail) == (not rest_is_known)
    assert last.detail["note"] == f"the file {why}"
    assert recovered.ledger.has_losses
    assert recovered.ledger.to_json()["source"]["cut_off"] == why


def test_a_block_of_which_only_the_beginning_was_expanded_could_not_be_read(tmp_path):
    cut = gzip.compress(image()[:ROOM + 512 * 9 + 300])[:-8]  # ends in a block, without its trailer
    recovered = recover_compressed(tmp_path, cut[:-1])
    assert losses(recovered) == [(1, 9, 9, NOT_READABLE)]
    damaged = recovered.ledger.ranges[-2]
    assert (damaged.state, damaged.detail["why"]) == (
        "block_damaged", "cut off where the source could be read no further"
    )


@pytest.mark.parametrize("compression", COMPRESS)
def test_a_check_sum_that_is_wrong_is_a_doubt_and_one_that_is_missing_a_note(tmp_path, compression):
    packed = bytearray(COMPRESS[compression](image()))
    recovered = recover_compressed(tmp_path, bytes(packed[:-2]))
    assert recovered.ledger.notes[-1] == f"the check sum of the {compression} compression is missing"
    assert not recovered.ledger.has_losses
    packed[-3 if compression == ZSTD else -6] ^= 1
    recovered = recover_compressed(tmp_path, bytes(packed))
    assert recovered.ledger.notes[-1] == f"the check sum of the {compression} compression is wrong"
    assert recovered.ledger.doubts == ["something in napraforgo-card.img, of which the check sum is wrong"]
    assert recovered.ledger.has_losses
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()


@pytest.mark.parametrize("compression", COMPRESS)
def test_nothing_is_lost_that_was_expanded_before_the_damage(tmp_path, compression):
    generator = random.Random(5)
    for _ in range(6):
        packed = bytearray(COMPRESS[compression](image()))
        place = generator.randrange(2000, len(packed) - 2000)
        packed[place:place + 40] = generator.randbytes(40)
        before, why, notes = expanded_bytes(compression, bytes(packed))
        assert why or notes == ["wrong"]
        untouched, _, _ = expanded_bytes(compression, bytes(packed[:place]))
        assert before.startswith(untouched)
        recovered = recover_compressed(tmp_path, bytes(packed))
        whole = {i for i, block in enumerate(LOG.envelopes) if block in before}
        assert len(whole) >= min(len(LOG.envelopes), (len(untouched) - ROOM) // 512)
        lost = set(range(len(LOG.envelopes))) - whole
        [keys] = [recovered_keys(boot, FLIGHT) for boot in recovered.boots if boot.boot == 1] or [Counter()]
        # A block with a few neighbouring wrong bits comes back as well.
        assert LOG.keys(but=lost) <= keys <= LOG.keys()
        assert recovered.ledger.has_losses


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(sorted(COMPRESS)), st.randoms(use_true_random=False), st.integers(0, 6), st.booleans())
def test_any_damage_of_a_compressed_log_gives_what_was_written(tmp_path, compression, chance, faults, cut):
    packed = bytearray(COMPRESS[compression](b"".join(LOG.envelopes[:12])))
    for _ in range(faults):
        packed[chance.randrange(4, len(packed))] = chance.randrange(256)
    if cut:
        del packed[chance.randrange(4, len(packed)):]
    try:
        recovered = recover_compressed(tmp_path, bytes(packed))
    except LoftbookError as error:
        assert "expands to nothing" in str(error)
        return
    for boot in recovered.boots:
        assert recovered_keys(boot, FLIGHT) <= LOG.keys()


def test_an_empty_file_that_was_compressed_is_refused(tmp_path):
    for packed in (gzip.compress(b""), COMPRESS[ZSTD](b"")):
        with pytest.raises(LoftbookError, match="napraforgo-card.img: expands to nothing"):
            recover_compressed(tmp_path, packed)


def test_a_file_of_which_nothing_can_be_expanded_says_why(tmp_path):
    recovered = recover_compressed(tmp_path, gzip.compress(image())[:10] + b"\xff" * 50)
    assert recovered.boots == []
    [nothing] = recovered.ledger.ranges
    assert (nothing.length, nothing.state) == (0, "unreadable")
    assert "is damaged behind byte 10 (invalid block type)" in nothing.detail["note"]


@pytest.mark.parametrize("head", ["\x1f\x8b\x08\0", "\x28\xb5\x2f\xfd", "cut off"])
def test_a_log_behind_what_only_looks_compressed_is_found_all_the_same(tmp_path, head):
    head = COMPRESS[GZIP](b"wheat " * 900)[:-9] if head == "cut off" else head.encode("latin-1")
    recovered = recover_compressed(tmp_path, head + image())
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()
    assert recovered.ledger.size == len(head) + len(image())
    [note] = [note for note in recovered.ledger.notes if note.startswith("begins like a compressed file that ")]
    assert note.endswith("; it was read as it is")
    assert not recovered.ledger.has_losses


def test_a_file_that_a_failing_disk_does_not_give_to_its_end_is_used_up_to_there(tmp_path, monkeypatch):
    packed = gzip.compress(image())
    before, _, _ = expanded_bytes(GZIP, packed[:1 << 16])
    whole = (len(before) - ROOM) // 512
    assert 0 < whole < len(LOG.envelopes)
    original = expanded._InOrder.read

    def read(self, count):
        if self._at >= 1 << 16:
            raise OSError(5, "Input/output error")
        return original(self, count)

    monkeypatch.setattr(expanded._InOrder, "read", read)
    recovered = recover_compressed(tmp_path, packed)
    assert recovered.ledger.doubts == [
        "the rest of napraforgo-card.img, which cannot be read from byte 65536 on (Input/output error)"
    ]
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but=range(whole, len(LOG.envelopes)))


def test_packets_of_unknown_kinds_are_searched_for_again_in_a_stream(tmp_path):
    writer = Writer(packets=True)
    for i in range(9):
        writer._builder.open(100 + i)
        writer._builder.add(AnyRecord(200, bytes([i, 0, 0, 0, i])), 100 + i)
        writer.close()
    writer.add_manifest(proven(newer_lines()))
    writer.close()
    noise = random.Random(4).randbytes(200_000)
    sent = noise + noise.join(writer.envelopes) + bytes(100_000)
    for pack in (bytes, gzip.compress):
        [boot] = recover_compressed(tmp_path, pack(sent)).boots
        assert boot.records["ozone"].values["a"].tolist() == list(range(9))


def run_length_frame(count):
    """A zstd frame of so many run-length blocks, each 128 KiB of zeros in four bytes (RFC 8878, 3.1.1.2)."""
    size = 1 << 17
    blocks = (size << 3 | 1 << 1).to_bytes(3, "little") + b"\0"
    last = (size << 3 | 1 << 1 | 1).to_bytes(3, "little") + b"\0"
    return b"\x28\xb5\x2f\xfd\x00\x58" + blocks * (count - 1) + last


def test_a_few_bytes_that_expand_to_half_a_gigabyte_do_not_fill_the_memory(tmp_path):
    tracemalloc.start()
    try:
        recovered = recover_compressed(tmp_path, run_length_frame(4096))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert recovered.ledger.size == 1 << 29
    assert [item.state for item in recovered.ledger.ranges] == ["unwritten_zeros"]
    assert peak < 30e6


def test_a_stream_that_expands_beyond_any_card_is_left_there(tmp_path, monkeypatch):
    monkeypatch.setattr(expanded, "EXPANDED_MAX", 1 << 22)
    recovered = recover_compressed(tmp_path, run_length_frame(100))
    assert recovered.ledger.bytes_by_state() == {"unwritten_zeros": 1 << 22, "unreadable": 0}
    assert "which expands to more than 4194304 bytes, which no card holds" in recovered.ledger.doubts[0]


def test_a_stream_of_blocks_without_end_is_left_when_it_is_beyond_any_flight(tmp_path, monkeypatch):
    monkeypatch.setattr(expanded, "PIECES_MAX", 3000)
    packed = gzip.compress(b"".join(LOG.envelopes) + LOG.envelopes[0] * 20_000)
    recovered = recover_compressed(tmp_path, packed)
    assert recovered.ledger.doubts == [
        "the rest of napraforgo-card.img, which holds more than 3000 blocks and other places; expand it first"
    ]
    assert recovered.ledger.bytes_by_state()["block"] <= 512 * 3000 + 2 * (1 << 20)
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys()


def test_a_frame_that_asks_for_too_much_memory_is_not_expanded(tmp_path):
    parameters = zstandard.ZstdCompressionParameters(window_log=28)
    packer = zstandard.ZstdCompressor(compression_params=parameters).compressobj()
    recovered = recover_compressed(tmp_path, packer.compress(image()) + packer.flush())
    assert recovered.boots == []
    assert "needs 268435456 bytes of memory to expand; expand it first" in recovered.ledger.doubts[0]


def test_a_full_disk_is_said_and_not_a_traceback(tmp_path, monkeypatch):
    class Full(io.BytesIO):
        def write(self, _):
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(tempfile, "SpooledTemporaryFile", lambda max_size: Full())
    with pytest.raises(LoftbookError, match="No space left on device.*make room there, or expand"):
        recover_compressed(tmp_path, gzip.compress(image()))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 1 << 32))
def test_a_spool_gives_back_what_it_was_given_and_zeros_between(seed):
    chance = random.Random(seed)
    data = chance.randbytes(5000)
    expected = bytearray(5000)
    at = start = 0
    with Spool() as spool:
        while at < 4000:
            start = max(start, at + chance.choice([-30, 0, 0, 50, 200]))
            stop = start + chance.randrange(300)
            spool.keep(start, data[start:stop])
            expected[start:stop] = data[start:stop]
            at = max(at, stop)
        for _ in range(20):
            start = chance.randrange(4900)
            view = memoryview(bytearray(b"?" * chance.randrange(1, 5000 - start)))
            spool.read_into(start, view)
            assert bytes(view) == bytes(expected[start:start + len(view)])
