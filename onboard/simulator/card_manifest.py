"""The manifest that a flight left on its card, put together from its pieces."""

from struct import unpack_from

from protocol.block import BLOCK_FIRST, BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE, FLAG_PARITY
from protocol.record import Layout
from protocol.table import KINDS

_FLAGS = BLOCK_HEADER_FIELDS.index("flags")
_USED = BLOCK_HEADER_FIELDS.index("used")


def manifest_words(image, ranges):
    """The manifest as a dict: first word of a line -> the rest of the line, of the last one that begins so.

    image: bytes of a card with one boot; ranges: iterable of (offset, length) of whole blocks.
    Returns an empty dict if a piece is missing.
    """
    pieces = {}
    for offset, length in ranges:
        for at in range(offset, offset + length, BLOCK_SIZE):
            pieces.update(_pieces(image[at : at + BLOCK_SIZE]))
    wanted = {(part, parts) for _, parts in pieces for part in range(parts)}
    if set(pieces) != wanted:
        return {}
    text = b"".join(pieces[key] for key in sorted(pieces)).rstrip(b"\0").decode("utf-8")
    return dict(line.split(" ", 1) for line in text.splitlines())


def _pieces(block):
    # Yields ((part, parts), bytes) for each piece of the manifest in a block.
    manifest = Layout("manifest")
    sizes = {number: Layout(name).size for number, name, _ in KINDS}
    header = unpack_from(BLOCK_HEADER, block, 0)
    if header[_FLAGS] & FLAG_PARITY:
        return
    at = BLOCK_FIRST
    while at < BLOCK_FIRST + header[_USED]:
        if block[at] == manifest.number:
            _, _, part, parts, text = unpack_from(manifest.format, block, at)
            yield (part, parts), text
        at += sizes[block[at]]
