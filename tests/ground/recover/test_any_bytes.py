import pytest
from built_images import FLIGHT, Writer, recover_bytes, recovered_keys, written_log
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ground.errors import LoftbookError
from ground.recover.expand import compression_of
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_MAGIC
from protocol.packet import PACKET_SYNC

LOG = written_log(rounds=25)
SENT = written_log(rounds=8, packets=True, boot=2)
FUZZ = settings(
    max_examples=150, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

def flipped(block, at, bit):
    """Two wrong bits: damage that no repair explains."""
    damaged = bytearray(block)
    for place in (at, (at + 171) % 512):
        damaged[place] ^= 1 << bit
    return bytes(damaged)


piece = st.one_of(
    st.binary(max_size=700),
    st.sampled_from(LOG.envelopes),
    st.sampled_from(SENT.envelopes),
    st.sampled_from([BLOCK_MAGIC, BLOCK_MAGIC + b"\x01\x00", PACKET_SYNC]),
    st.sampled_from([bytes(512), b"\xff" * 512, bytes(5)]),
    st.builds(lambda block, size: block[:size], st.sampled_from(LOG.envelopes), st.integers(1, 511)),
    st.builds(lambda block, size: block[size:], st.sampled_from(LOG.envelopes), st.integers(1, 511)),
    st.builds(flipped, st.sampled_from(LOG.envelopes), st.integers(0, 511), st.integers(0, 7)),
)


@FUZZ
@given(st.binary(min_size=1, max_size=3000))
def test_any_bytes_give_a_ledger_that_balances(tmp_path, data):
    assume(compression_of(data[:4]) is None)
    recovered = recover_bytes(tmp_path, data)
    assert sum(recovered.ledger.bytes_by_state().values()) == len(data)


@FUZZ
@given(st.lists(piece, min_size=1, max_size=12))
def test_any_ruin_of_a_log_gives_only_what_was_written(tmp_path, pieces):
    data = b"".join(pieces) or b"\0"
    recovered = recover_bytes(tmp_path, data)
    whole = {i for i, block in enumerate(LOG.envelopes) if block in data}
    for boot in recovered.boots:
        if boot.boot == 1:
            # A block that lost only its last byte may be repaired: what comes back was written all the same.
            proven = LOG.keys(but=set(range(len(LOG.envelopes))) - whole)
            assert proven <= recovered_keys(boot, FLIGHT) <= LOG.keys()
        else:
            assert recovered_keys(boot, FLIGHT) <= SENT.keys()
    assert bool(whole) == any(boot.boot == 1 for boot in recovered.boots)


@FUZZ
@given(st.binary(max_size=BLOCK_LIMIT - BLOCK_FIRST), st.integers(0, 65535), st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1))
def test_a_whole_block_of_any_contents_is_survived(tmp_path, records, boot, number, tick):
    writer = Writer(boot=boot, number=number)
    builder = writer._builder
    builder.open(tick)
    builder.buffer[BLOCK_FIRST:BLOCK_FIRST + len(records)] = records
    builder.used = len(records)
    writer.close()
    [log] = recover_bytes(tmp_path, writer.envelopes[0]).boots
    assert (log.boot, log.envelopes_found, log.envelopes_expected) == (boot, 1, number + 1)


def test_an_error_is_one_line(tmp_path):
    with pytest.raises(LoftbookError) as caught:
        recover_bytes(tmp_path, b"")
    assert "\n" not in str(caught.value)
