"""Expanding gzip and zstd piece by piece, in bounded memory, up to the place where they are damaged.

gzip: RFC 1952 around RFC 1951; Zstandard: RFC 8878. A file may hold several members or frames.
"""

import zlib

import zstandard

from ground.recover.ledger import MISSING, WRONG

GZIP, ZSTD = "gzip", "zstd"
_GZIP_MAGIC, _ZSTD_MAGIC = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"
_DEFLATE = 8
_HEADER_CRC, _EXTRA, _NAME, _COMMENT, _RESERVED = 2, 4, 8, 16, 0xE0  # RFC 1952, 2.3.1: FLG
_SKIPPED = (0x184D2A50, 0x184D2A5F)  # RFC 8878, 3.1.2: magic numbers of frames that hold no data
_RUN_LENGTH_BLOCK = 1  # RFC 8878, 3.1.1.2.2: Block_Type
_ZSTD_HEADER_MAX = 18
_WINDOW_MAX = 1 << 27  # bytes of memory that a zstd frame may ask for
_INPUT_SIZE = 1 << 16
_OUTPUT_SIZE = 1 << 18
_SMALL_OUTPUT = 64


class Broken(Exception):
    """The rest cannot be expanded. message: why; rest: how many bytes it would have been, None if unknown."""

    def __init__(self, message, rest=None):
        super().__init__(message)
        self.rest = rest


def compression_of(head):
    """GZIP, ZSTD or None, by the first four bytes of a file."""
    if head[:3] == _GZIP_MAGIC + bytes([_DEFLATE]) and len(head) == 4 and not head[3] & _RESERVED:
        return GZIP
    return ZSTD if head == _ZSTD_MAGIC else None


class Input:
    """A file's bytes in order, with a look ahead. file: has read(count) and may raise OSError.
    position: offset of the next byte.
    """

    def __init__(self, file):
        self._file = file
        self._failure = None
        self._ahead, self._at = b"", 0
        self.position = 0

    def peek(self, count):
        """The next bytes, without taking them; fewer at the end of the file. Raises Broken where there are
        no more, because the file cannot be read on.
        """
        while len(self._ahead) - self._at < count and not self._failure:
            try:
                more = self._file.read(max(_INPUT_SIZE, count))
            except OSError as error:
                at = self.position + len(self._ahead) - self._at
                self._failure = f"cannot be read from byte {at} on ({error.strerror or error})"
                break
            if not more:
                break
            self._ahead, self._at = self._ahead[self._at:] + more, 0
        if self._failure and self._at == len(self._ahead):
            raise Broken(self._failure)
        return self._ahead[self._at:self._at + count]

    def take(self, count):
        """The next bytes; fewer at the end of the file."""
        taken = self.peek(count)
        self._at += len(taken)
        self.position += len(taken)
        return taken

    def all_of(self, count):
        """The next bytes, exactly so many. Raises Broken at the end of the file."""
        taken = self.take(count)
        if len(taken) < count:
            raise Broken(self._failure or f"ends in the middle, after {self.position} bytes: it was cut off")
        return taken

    def give_back(self, data):
        """Take back the last bytes."""
        self._ahead, self._at = data + self._ahead[self._at:], 0
        self.position -= len(data)


def expand(compression, source, note):
    """Yield the contents as bytes, a small piece at a time.

    source: an Input; note: called with WRONG or MISSING where a check sum of the compression, which proves
    what was expanded before, is one of these.
    Raises Broken where it cannot go on; everything before has been yielded.
    """
    member = _gzip_member if compression == GZIP else _zstd_frame
    magic = _GZIP_MAGIC if compression == GZIP else _ZSTD_MAGIC
    while True:
        yield from member(source, note)
        _pass_over(source, compression)
        if not source.peek(1):
            return
        if source.peek(len(magic)) != magic:
            raise Broken(f"is not {compression} from byte {source.position} on")


def _pass_over(source, compression):
    """Zeros behind a gzip member, which fill the last block of a tape; zstd frames without data."""
    if compression == GZIP:
        while source.peek(1) == b"\0":
            taken = source.take(_INPUT_SIZE)
            source.give_back(taken.lstrip(b"\0"))
        return
    while _SKIPPED[0] <= int.from_bytes(source.peek(4), "little") <= _SKIPPED[1]:
        source.all_of(4)
        size = int.from_bytes(source.all_of(4), "little")
        while size:
            size -= len(source.all_of(min(size, _INPUT_SIZE)))


def _gzip_member(source, note):
    flags = source.all_of(10)[3]
    if flags & _EXTRA:
        source.all_of(int.from_bytes(source.all_of(2), "little"))
    for text in (_NAME, _COMMENT):
        while flags & text and source.all_of(1) != b"\0":
            pass
    if flags & _HEADER_CRC:
        source.all_of(2)
    crc = size = 0
    for piece in _inflate(source):
        crc, size = zlib.crc32(piece, crc), size + len(piece)
        yield piece
    trailer = source.take(8)
    if len(trailer) < 8:
        note(MISSING)
    elif trailer != crc.to_bytes(4, "little") + (size & 0xFFFFFFFF).to_bytes(4, "little"):
        note(WRONG)


def _inflate(source):
    inflate = zlib.decompressobj(wbits=-zlib.MAX_WBITS)
    pending = b""
    while not inflate.eof:
        pending = pending or source.take(_INPUT_SIZE)
        before = inflate.copy()
        try:
            piece = inflate.decompress(pending, _OUTPUT_SIZE)
        except zlib.error as error:
            at = source.position - len(pending)
            yield from _up_to_the_error(before, pending)
            reason = str(error).rpartition(": ")[2]
            raise Broken(f"is damaged behind byte {at} ({reason})") from None
        if not pending and not piece and not inflate.eof:
            raise Broken(f"ends in the middle, after {source.position} bytes: it was cut off")
        pending = inflate.unconsumed_tail
        if piece:
            yield piece
    source.give_back(inflate.unused_data)


def _up_to_the_error(inflate, data):
    # zlib keeps to itself what it expanded in the call that fails, so the last calls are small.
    for i in range(len(data)):
        byte = data[i:i + 1]
        while byte:
            try:
                piece = inflate.decompress(byte, _SMALL_OUTPUT)
            except zlib.error:
                return
            if piece:
                yield piece
            byte = inflate.unconsumed_tail


def _zstd_frame(source, note):
    head = source.peek(_ZSTD_HEADER_MAX)
    try:
        header = source.take(zstandard.frame_header_size(head))
        frame = zstandard.get_frame_parameters(head)
    except zstandard.ZstdError:
        raise Broken(f"has no whole zstd header at byte {source.position}") from None
    rest = None if frame.content_size == zstandard.CONTENTSIZE_UNKNOWN else frame.content_size
    if frame.dict_id:
        raise Broken("needs the dictionary that it was compressed with; expand it first", rest)
    if frame.window_size > _WINDOW_MAX:
        raise Broken(f"needs {frame.window_size} bytes of memory to expand; expand it first", rest)
    inflate = zstandard.ZstdDecompressor(max_window_size=_WINDOW_MAX).decompressobj()
    inflate.decompress(header)
    last = False
    while not last:
        at = source.position
        try:
            # A block at a time: so it is known where the file ends, and no call expands without bound.
            block = source.all_of(3)
            word = int.from_bytes(block, "little")
            last, kind, size = word & 1, word >> 1 & 3, word >> 3
            block += source.all_of(1 if kind == _RUN_LENGTH_BLOCK else size)
            piece = inflate.decompress(block)
        except Broken as broken:
            raise Broken(str(broken), rest) from None
        except zstandard.ZstdError as error:
            raise Broken(f"is damaged behind byte {at} ({str(error).rpartition(': ')[2]})", rest) from None
        if rest is not None:
            rest = max(0, rest - len(piece))
        yield piece
    if frame.has_checksum:
        trailer = source.take(4)
        try:
            inflate.decompress(trailer)
        except zstandard.ZstdError:
            note(WRONG)
        if len(trailer) < 4:
            note(MISSING)
