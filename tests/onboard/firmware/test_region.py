"""The log's region on real FAT file systems, made by MicroPython's own VfsFat."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.firmware.region import LogRegion
from onboard.firmware.volume import CardError
from onboard.simulator.cards import make_card
from protocol.block import BLOCK_FLIGHT, BLOCK_SIZE, BlockBuilder
from protocol.record import Layout

FLIGHT = b"\x5f\x3a\x1c\x22"


class Card:
    """A block device over bytes in memory, or over an image file that is too large for it."""

    def __init__(self, image):
        self.image = image

    def readblocks(self, number, buffer):
        buffer[:] = self.image[number * BLOCK_SIZE : number * BLOCK_SIZE + len(buffer)]

    def writeblocks(self, number, buffer):
        self.image[number * BLOCK_SIZE : number * BLOCK_SIZE + len(buffer)] = buffer


class FileCard:
    def __init__(self, path):
        self.file = open(path, "r+b")

    def readblocks(self, number, buffer):
        self.file.seek(number * BLOCK_SIZE)
        self.file.readinto(buffer)


SMALL_CARD = []  # where a property test finds the image: as an argument it would be printed whole


@pytest.fixture(scope="module", autouse=True)
def fat16(tmp_path_factory):
    path = tmp_path_factory.mktemp("card") / "card.img"
    make_card(path, 16)
    SMALL_CARD.append(path.read_bytes())
    return SMALL_CARD[0]


def block(number, boot=1):
    builder = BlockBuilder()
    builder.open(1000)
    builder.add(Layout("event"), 1000)
    builder.close(FLIGHT, boot, number, 2)
    return builder.buffer


def test_the_region_is_the_files_own_sectors(fat16):
    region = LogRegion(Card(bytearray(fat16)))
    assert region.count == (16 << 20) * 3 // 4 // BLOCK_SIZE
    # The file is zeros; the text file before it ends where the log begins or earlier.
    start = region.start * BLOCK_SIZE
    assert not any(fat16[start : start + region.count * BLOCK_SIZE])
    assert fat16.find(b"This card belongs") < start


def test_blocks_written_through_the_region_are_in_the_file(fat16, tmp_path):
    # MicroPython's own VfsFat reads the file back: an independent judge of where it lies.
    import subprocess

    from onboard.simulator.runners import unix_command

    card = Card(bytearray(fat16))
    region = LogRegion(card)
    region.resume()
    for number in range(5):
        region.write(block(number))
    path = tmp_path / "card.img"
    path.write_bytes(card.image)
    script = (
        "import vfs, sys\n"
        "class Image:\n"
        "    def __init__(self, path): self.f = open(path, 'r+b')\n"
        "    def readblocks(self, n, b, o=0):\n"
        "        self.f.seek(n * 512 + o); self.f.readinto(b)\n"
        "    def writeblocks(self, n, b, o=0): raise OSError(30)\n"
        "    def ioctl(self, op, a): return {4: %d, 5: 512}.get(op, 0)\n"
        "vfs.mount(Image(sys.argv[-1]), '/card', readonly=True)\n"
        "print(open('/card/LOFTBOOK.LOG', 'rb').read(5 * 512).hex())\n" % (len(card.image) // 512)
    )
    done = subprocess.run([*unix_command("4m"), "-c", script, str(path)], capture_output=True, text=True)
    assert done.stdout.strip() == b"".join(bytes(block(n)) for n in range(5)).hex(), done.stderr


def test_a_partition_table_is_followed(fat16):
    table = bytearray(2048 * 512)
    struct.pack_into("<BBBBBBBBII", table, 446, 0, 0, 0, 0, 0x06, 0, 0, 0, 2048, len(fat16) // 512)
    table[510:512] = b"\x55\xaa"
    bare, partitioned = LogRegion(Card(bytearray(fat16))), LogRegion(Card(table + fat16))
    assert partitioned.start == bare.start + 2048 and partitioned.count == bare.count


def test_fat32_is_read_too(tmp_path):
    path = tmp_path / "large.img"
    make_card(path, 4096, log_megabytes=2)
    card = FileCard(path)
    sector = bytearray(512)
    card.readblocks(0, sector)
    card.readblocks(int.from_bytes(sector[454:458], "little"), sector)  # VfsFat makes a partition for FAT32
    assert sector[82:87] == b"FAT32"
    region = LogRegion(card)
    assert region.count == 4096


@pytest.mark.parametrize(
    "spoil, words",
    [
        (lambda image: image.__setitem__(slice(0, 512), bytes(512)), "no file system"),
        (lambda image: image.__setitem__(slice(11, 13), b"\x00\x08"), "not FAT16 or FAT32"),
    ],
)
def test_an_unusable_card_says_why(fat16, spoil, words):
    image = bytearray(fat16)
    spoil(image)
    with pytest.raises(CardError, match=words):
        LogRegion(Card(image))


def test_a_missing_log_file_is_named(fat16):
    image = bytearray(fat16.replace(b"LOFTBOOKLOG", b"HOLIDAY JPG"))
    with pytest.raises(CardError, match="no file LOFTBOOK.LOG"):
        LogRegion(Card(image))


def test_a_log_in_pieces_is_refused(fat16):
    image = bytearray(fat16)
    reserved = image[14] | image[15] << 8
    first = image.find(b"LOFTBOOKLOG") + 26
    cluster = image[first] | image[first + 1] << 8
    for copy in range(image[16]):
        entry = (reserved + copy * (image[22] | image[23] << 8)) * 512 + (cluster + 9) * 2
        struct.pack_into("<H", image, entry, cluster + 5000)
    with pytest.raises(CardError, match="several pieces"):
        LogRegion(Card(image))


def test_an_empty_region_begins_at_its_start(fat16):
    region = LogRegion(Card(bytearray(fat16)))
    region.resume()
    assert region.next == 0 and region.last_block(BLOCK_FLIGHT, FLIGHT) is None


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 3000), st.sets(st.integers(0, 2999), max_size=6), st.randoms())
def test_nothing_written_is_ever_written_over(written, lost, random):
    card = Card(bytearray(SMALL_CARD[0]))
    region = LogRegion(card)
    for number in range(written):
        start = (region.start + number) * 512
        card.image[start : start + 512] = block(number)
    for number in lost:  # blocks that the card lost: zeros or noise
        if number < written:
            start = (region.start + number) * 512
            card.image[start : start + 512] = bytes(512) if random.random() < 0.5 else random.randbytes(512)
    region.resume()
    last = region.last_block(BLOCK_FLIGHT, FLIGHT)
    alive = [number for number in range(written) if number not in lost]
    if alive:
        assert region.next > max(alive)
        assert last is not None


def test_a_torn_last_block_is_skipped_and_not_written_over(fat16):
    card = Card(bytearray(fat16))
    region = LogRegion(card)
    region.resume()
    for number in range(10):
        region.write(block(number))
    start = (region.start + 9) * 512
    card.image[start + 200 : start + 512] = bytes(312)
    again = LogRegion(card)
    again.resume()
    assert again.next == 10
    assert bytes(again.last_block(BLOCK_FLIGHT, FLIGHT)) == bytes(block(8))


def test_a_large_hole_in_the_log_misleads_nobody(fat16):
    # Wherever an erased stretch lies, whatever a search by halves thinks: no block is written over.
    region = LogRegion(Card(bytearray(fat16)))
    whole = bytearray(fat16)
    for number in range(5000):
        whole[(region.start + number) * 512 : (region.start + number + 1) * 512] = block(number)
    for hole in range(0, 4800, 64):
        image = bytearray(whole)
        image[(region.start + hole) * 512 : (region.start + hole + 128) * 512] = bytes(128 * 512)
        card = Card(image)
        again = LogRegion(card)
        again.resume()
        for number in range(200):
            again.prepare()
            again.write(block(number, boot=2))
        kept = [n for n in range(5000) if not hole <= n < hole + 128]
        for n in kept:
            at = (region.start + n) * 512
            assert card.image[at : at + 512] == whole[at : at + 512]


def test_a_block_of_the_flight_is_found_behind_those_of_another(fat16):
    card = Card(bytearray(fat16))
    region = LogRegion(card)
    region.resume()
    region.write(block(7, boot=4))
    for number in range(30):
        other = BlockBuilder()
        other.open(0)
        other.close(b"old!", 9, number, 1)
        region.write(other.buffer)
    again = LogRegion(card)
    again.resume()
    assert bytes(again.last_block(BLOCK_FLIGHT, FLIGHT)) == bytes(block(7, boot=4))


def test_a_sector_that_cannot_be_read_is_not_written_to(fat16):
    card = Card(bytearray(fat16))
    region = LogRegion(card)
    region.resume()
    for number in range(10):
        region.write(block(number))
    broken = region.start + 9
    read = card.readblocks

    def readblocks(number, buffer):
        if number == broken:
            raise OSError(5)
        read(number, buffer)

    card.readblocks = readblocks
    again = LogRegion(card)
    again.resume()
    assert again.next == 9
    with pytest.raises(OSError):
        again.prepare()
    again.skip()
    assert again.prepare() == 10
    assert bytes(again.last_block(BLOCK_FLIGHT, FLIGHT)) == bytes(block(8))
