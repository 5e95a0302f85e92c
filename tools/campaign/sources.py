"""Sources as they come back to a team: a copied log, a card's image, fragments between photos, a capture."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from onboard.firmware.region import LogRegion
from onboard.simulator.cards import make_card
from tools.campaign import foreign
from tools.campaign.captures import false_packets, line_noise, write_packets
from tools.campaign.image import SECTOR, Image, image_of
from tools.campaign.written import Card, write_log

PARITIES = ((16, 10), (16, 10), (16, 10), (0, 0), (4, 3), (8, 5), (1, 1), (2, 20), (16, 2), (3, 1))
FLIGHTS = (b"\x5a\x00\xc3\x00", b"\x17\x2b\x3c\x4d", b"\xe7\x8c\x4c\x42", b"\x00\x00\x00\x01")
CARD_MEGABYTES = 16
LOG_MEGABYTES = 8


@cache
def empty_card():
    """(bytes of a card with a file system and an empty log file, sector where the log begins, sectors of
    it).
    """
    with TemporaryDirectory() as folder:
        path = Path(folder) / "card.img"
        make_card(path, CARD_MEGABYTES, LOG_MEGABYTES)
        data = path.read_bytes()
    region = LogRegion(Card(data))
    return data, region.start, region.count


def _boots(rng, largest):
    boots = []
    for _ in range(rng.choice((1, 1, 1, 2, 3, 5))):
        blocks = min(largest, rng.choice((2, 6, 20, 60, 150, 400)))
        boots.append((blocks, rng.choice((None, None, 0, 1, 29, 200, 511))))
    return boots


def some_logs(rng):
    """One to three logs of different flights, the newest last; it may have been written around remains of the
    one before. Returns (logs, their file images as one wrote over the other).
    """
    flights = rng.sample(FLIGHTS, rng.choice((1, 1, 2, 3)))
    logs = []
    for index, flight in enumerate(flights):
        depth, rate = rng.choice(PARITIES)
        before = None
        options = {"has_foreign": index == 0 and rng.random() < 0.25}
        if logs and rng.random() < 0.5:
            before = bytearray(logs[-1].sectors)
            # A quick format and a new file leave some of the old sectors where they are.
            for place in range(len(before) // SECTOR):
                if rng.random() < 0.8:
                    before[place * SECTOR:(place + 1) * SECTOR] = bytes(SECTOR)
        if rng.random() < 0.3:
            options["refused"] = {rng.randrange(200) for _ in range(rng.choice((1, 3, 8)))}
        largest = 400 if index == len(flights) - 1 else 60
        logs.append(write_log(rng, flight, _boots(rng, largest), depth, rate, before, **options))
    return logs


def file_image(logs, index=-1, spare=0):
    """The region of a log as a file, with what is left in it of the logs before: Image."""
    log = logs[index]
    written = [*log.blocks, *log.torn]
    stop = min(max((block.place for block in written), default=0) + 1 + spare, len(log.sectors) // SECTOR)
    image = image_of(log, stop)
    taken = {offset for offset, _ in image.placements}
    for older in logs[:index]:
        for block in [*older.blocks, *older.torn]:
            at = block.place * SECTOR
            is_left = log.sectors[at:at + SECTOR] == older.sectors[at:at + SECTOR]
            if at not in taken and is_left and at + SECTOR <= len(image):
                taken.add(at)
                image.placements.append((at, block))
    image.placements.sort(key=lambda placement: placement[0])
    return image


def log_file(rng, logs):
    image = file_image(logs, spare=rng.choice((0, 5, 300)))
    image.done.append("a copied log")
    return image


def two_files(rng, logs):
    image = log_file(rng, logs)
    for index in range(len(logs) - 1):
        other = file_image(logs[:index + 1])
        if rng.random() < 0.5:
            image.append(foreign.anything(rng, rng.choice((0, 5000))))
        image.append(other.data, other.placements)
    image.done.append("older logs behind it")
    return image


def card(rng, logs):
    """A whole card; older logs may stand where deleted files were."""
    data, first, count = empty_card()
    image = Image(data)
    log = file_image(logs, spare=20)
    if len(log) > count * SECTOR:
        log.delete(count * SECTOR, len(log))
    _place(image, first * SECTOR, log)
    at = (first + count) * SECTOR
    for index in range(len(logs) - 1):
        older = file_image(logs[:index + 1])
        at += rng.choice((0, 8, 64)) * SECTOR
        if at + len(older) < len(image):
            _place(image, at, older)
            at += len(older)
    image.done.append("a card")
    return image


def _place(image, offset, piece):
    image.overwrite(offset, piece.data)
    image.placements += [(offset + at, block) for at, block in piece.placements]
    image.placements.sort(key=lambda placement: placement[0])


def reformatted_card(rng, logs):
    """The tables of the file system zeroed, or made anew; a few new files may have been written."""
    image = card(rng, logs)
    data, first, _ = empty_card()
    tables = first * SECTOR
    how = rng.choice(("zeroed", "made anew", "overwritten"))
    image.overwrite(0, {"zeroed": bytes(tables), "made anew": data[:512] + bytes(tables - 512)}.get(how)
                    or rng.randbytes(tables))
    if rng.random() < 0.5:
        image.overwrite(tables, foreign.photo(rng, rng.choice((1000, 10_000))))
    image.done.append(f"its tables {how}")
    return image


def fragments(rng, logs):
    """The log cut into clusters, between photos and films, in any order, with stale clusters of older
    logs.
    """
    cluster = rng.choice((4, 8, 32, 64)) * SECTOR
    pieces = []
    for index in range(len(logs)):
        whole = file_image(logs[:index + 1])
        for start in range(0, len(whole), cluster):
            pieces.append(whole.piece(start, min(len(whole), start + cluster)))
    if rng.random() < 0.6:
        rng.shuffle(pieces)
    image = Image(foreign.anything(rng, rng.choice((0, 1, 512, 3000))))
    for data, blocks in pieces:
        image.append(data, blocks)
        if rng.random() < 0.4:
            image.append(foreign.anything(rng, cluster * rng.randrange(1, 4)))
    image.done.append(f"{len(pieces)} pieces of {cluster} bytes between others' files")
    return image


def capture(rng, logs):
    """(Image, packets): a link's bytes, from one boot or several."""
    packets = []
    image = Image()
    for boot in range(1, rng.choice((2, 2, 3, 4))):
        flight = rng.choice(logs).flight if rng.random() < 0.3 else logs[-1].flight
        has_foreign = any(log.has_foreign and log.flight == flight for log in logs)
        sent = write_packets(rng, flight, boot, rng.choice((1, 2, 5, 40, 200)), has_foreign)
        if any((old.flight, old.boot) == (flight, boot) for old in packets):
            continue
        packets += sent
        image.append(b"".join(packet.data for packet in sent))
        if rng.random() < 0.3:
            image.append(false_packets(rng, 5))
    for _ in range(rng.choice((0, 1, 1, 2))):
        data, words = line_noise(rng, bytes(image.data))
        image.data = bytearray(data)
        image.done.append(words)
    image.done.insert(0, f"a capture of {len(packets)} packets")
    return image, packets


def mixture(rng, logs):
    """(Image, packets): a log with a capture behind it, before it or in the midst of it."""
    image = rng.choice((log_file, fragments))(rng, logs)
    heard, packets = capture(rng, logs)
    image.insert(rng.choice((0, len(image), rng.randrange(len(image) + 1))), heard.data)
    image.done += ["with", *heard.done]
    return image, packets


CARDS = (log_file, log_file, two_files, card, reformatted_card, fragments, fragments)
