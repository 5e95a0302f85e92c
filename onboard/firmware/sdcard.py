# SD card over SPI as a block device, as MicroPython's file systems and the logger ask for one.
#
# Source: SD Association, Physical Layer Simplified Specification, chapter 7 (SPI mode); 4.3.14 and 7.3.1.3
# for the commands, 7.3.3 for tokens and responses, 5.3 for the CSD. Section numbers from memory.
#
# The check sum of data (CMD59) stays off: in bytecode it costs more than all the rest of a block, and each
# block carries its own CRC-32. What a cable spoils shows as an error at a command or as a damaged block.

from protocol.constant import const
from protocol.tick import tick_difference

_BLOCK = const(512)
_SLOW_HZ = const(400000)  # a card that wakes up takes no more
_FAST_HZ = const(10000000)  # of 25 MHz: leaves room for wires of some centimetres

_GO_IDLE = const(0)
_SEND_IF_COND = const(8)
_SEND_CSD = const(9)
_SEND_CID = const(10)
_SEND_STATUS = const(13)
_SET_BLOCKLEN = const(16)
_READ_SINGLE = const(17)
_WRITE_SINGLE = const(24)
_SD_SEND_OP_COND = const(41)
_APP_CMD = const(55)
_READ_OCR = const(58)

_R1_IDLE = const(0x01)
_R1_ILLEGAL = const(0x04)
_NO_ANSWER = const(0xFF)
_START_BLOCK = const(0xFE)
_ACCEPTED = const(0x05)  # data response, under the mask 0x1F

_GO_IDLE_TRIES = const(5)
_ANSWER_BYTES = const(9)  # a card answers within eight
_READ_MS = const(100)  # longest wait for a block, as the specification says
_WRITE_MS = const(500)  # longest time of programming: 250 ms, 500 ms for SDXC
_WAKE_MS = const(1000)  # longest start
_WAKE_AGAIN_MS = const(50)  # of it at once when a card comes back in flight; the next call goes on waiting

_ABSENT, _WAKING, _READY = 0, 1, 2

_EIO = const(5)  # the card refused or spoilt something
_ENODEV = const(19)  # no card, another card than before, or none that works on SPI
_ETIMEDOUT = const(110)  # the card is there and does not come to an end
# Each error is made anew: one that is raised again and again keeps a trace of every time, until the heap is full.


class SDCard:
    """A card on a bus of its own.

    spi: a machine.SPI; cs: the card's chip select, a machine.Pin that is an output; ticks_ms: function that
    returns ms modulo protocol.tick.TICK_PERIOD.

        card.readblocks(number, buffer)    # a multiple of 512 bytes; the first call may take a second

    Every call raises OSError: 19 no card or not the one of the first start, 5 the card reports an error, 110
    it does not come to an end. A card that was away is started again by the next call; then it may take some
    calls until it is ready. One block is read or written without allocation.
    """

    def __init__(self, spi, cs, ticks_ms):
        self._spi = spi
        self._cs = cs
        self._ticks_ms = ticks_ms
        self._one = bytearray(1)
        self._start = bytearray((0xFF, _START_BLOCK))  # a byte of pause, then the token
        self._sum = bytearray(b"\xff\xff")
        self._frame = bytearray(6)
        self._register = bytearray(16)
        self._pause = b"\xff" * 10  # 80 clocks with the card not selected; 74 are asked for
        self._identity = None  # the CID of the card at the first start
        self._state = _ABSENT
        self._new = False  # it knows SEND_IF_COND: version 2 or later
        self._by_block = False  # addresses are blocks (SDHC, SDXC), not bytes
        self._blocks = 0
        self.on_transfer = None  # called before every block: a boot may read for longer than a watchdog waits
        cs.value(1)

    def readblocks(self, number, buffer):
        """Read as many blocks as the buffer holds."""
        self._transfer_all(number, buffer, False)

    def writeblocks(self, number, buffer):
        """Write as many blocks as the buffer holds; each is on the card when the call returns."""
        self._transfer_all(number, buffer, True)

    def ioctl(self, operation, _):
        """What MicroPython asks block devices: 1 start, 4 number of blocks, 5 size of a block."""
        if operation == 1:
            self._be_ready(_WAKE_MS)
        elif operation == 4:
            self._be_ready(_WAKE_MS)
            return self._blocks
        elif operation == 5:
            return _BLOCK
        return 0

    def _transfer_all(self, number, buffer, is_write):
        if len(buffer) == _BLOCK:
            self._transfer(number, buffer, is_write)
            return
        view = memoryview(buffer)
        for start in range(0, len(buffer), _BLOCK):
            self._transfer(number + start // _BLOCK, view[start : start + _BLOCK], is_write)

    def _transfer(self, number, buffer, is_write):
        if self.on_transfer is not None:
            self.on_transfer()
        self._be_ready(_WAKE_MS if self._identity is None else _WAKE_AGAIN_MS)
        try:
            if is_write:
                self._write(number, buffer)
            else:
                self._ask_for_block(_READ_SINGLE, number)
                self._take(buffer)
        finally:
            self._release()

    def _write(self, number, buffer):
        spi = self._spi
        self._ask_for_block(_WRITE_SINGLE, number)
        spi.write(self._start)
        spi.write(buffer)
        spi.write(self._sum)
        answer = self._answer()
        if answer & 0x1F != _ACCEPTED:
            if answer == _NO_ANSWER:
                self._gone(_ENODEV)
            raise OSError(_EIO)
        self._await(_WRITE_MS)
        # The card tells only now whether the block got where it belongs.
        status = self._command(_SEND_STATUS, 0, 0)
        if status | self._byte():
            raise OSError(_EIO)

    def _ask_for_block(self, command, number):
        self._cs.value(0)
        self._await(_WRITE_MS)
        if self._by_block:
            answer = self._command(command, number >> 16, number & 0xFFFF)
        else:
            answer = self._command(command, number >> 7, number << 9 & 0xFFFF)
        if answer & _R1_IDLE:  # it lost its supply in between and does not know that it was started
            self._gone(_ETIMEDOUT)
        if answer:
            raise OSError(_EIO)

    def _take(self, buffer):
        # A block that the card sends: token, data, check sum.
        since = self._ticks_ms()
        token = self._byte()
        while token == 0xFF:
            if tick_difference(self._ticks_ms(), since) > _READ_MS:
                self._gone(_ETIMEDOUT)
            token = self._byte()
        if token != _START_BLOCK:
            raise OSError(_EIO)
        self._spi.readinto(buffer, 0xFF)
        self._spi.readinto(self._sum, 0xFF)
        self._sum[0] = self._sum[1] = 0xFF

    def _byte(self):
        self._spi.readinto(self._one, 0xFF)
        return self._one[0]

    def _answer(self):
        for _ in range(_ANSWER_BYTES):
            answer = self._byte()
            if answer != _NO_ANSWER:
                break
        return answer

    def _await(self, longest_ms):
        # Wait until the selected card is not busy. It holds the line low while it is.
        since = self._ticks_ms()
        while self._byte() != 0xFF:
            if tick_difference(self._ticks_ms(), since) > longest_ms:
                self._gone(_ETIMEDOUT)

    def _command(self, command, high, low, crc=0x01):
        # Send a command with an argument of two halves; its answer R1. The card must be selected.
        frame = self._frame
        frame[0] = 0x40 | command
        frame[1] = high >> 8
        frame[2] = high & 0xFF
        frame[3] = low >> 8
        frame[4] = low & 0xFF
        frame[5] = crc
        self._byte()  # a card wants eight clocks between an answer and the next command
        self._spi.write(frame)
        answer = self._answer()
        if answer & 0x80:
            self._gone(_ENODEV)
        return answer

    def _gone(self, number):
        self._state = _ABSENT
        raise OSError(number)

    def _release(self):
        self._cs.value(1)
        self._byte()  # the card lets go of the line with the next clock only

    def _be_ready(self, longest_ms):
        if self._state == _READY:
            return
        try:
            if self._state == _ABSENT:
                self._wake()
            self._await_start(longest_ms)
            self._learn()
        finally:
            self._release()

    def _wake(self):
        self._spi.init(baudrate=_SLOW_HZ)
        self._cs.value(1)
        self._spi.write(self._pause)
        self._cs.value(0)
        for _ in range(_GO_IDLE_TRIES):  # a card in the middle of a block takes the first ones for data
            self._frame[0] = 0x40 | _GO_IDLE
            for i in range(1, 5):
                self._frame[i] = 0
            self._frame[5] = 0x95  # the check sum of this command, which a card wants before it is on SPI
            self._spi.write(self._frame)
            if self._answer() == _R1_IDLE:
                break
        else:
            raise OSError(_ENODEV)
        # 2.7 to 3.6 V, and a pattern that comes back; a card of version 1 does not know the command.
        self._new = not self._command(_SEND_IF_COND, 0, 0x01AA, 0x87) & _R1_ILLEGAL
        if self._new:
            for _ in range(3):
                self._byte()
            if self._byte() != 0xAA:
                raise OSError(_EIO)
        self._state = _WAKING

    def _await_start(self, longest_ms):
        self._cs.value(0)
        since = self._ticks_ms()
        while True:
            self._command(_APP_CMD, 0, 0)
            answer = self._command(_SD_SEND_OP_COND, 0x4000 if self._new else 0, 0)  # we know large cards
            if answer == 0:
                return
            if answer != _R1_IDLE:
                self._gone(_EIO)
            if tick_difference(self._ticks_ms(), since) > longest_ms:
                raise OSError(_ETIMEDOUT)

    def _learn(self):
        # How the started card is addressed, how large it is and which one it is.
        self._command(_READ_OCR, 0, 0)
        conditions = self._byte()
        self._by_block = self._new and conditions & 0x40 != 0
        for _ in range(3):
            self._byte()
        if not self._by_block and self._command(_SET_BLOCKLEN, 0, _BLOCK):
            self._gone(_EIO)
        self._spi.init(baudrate=_FAST_HZ)
        register = self._register
        if self._command(_SEND_CSD, 0, 0):
            self._gone(_EIO)
        self._take(register)
        self._blocks = _blocks(register)
        if self._command(_SEND_CID, 0, 0):
            self._gone(_EIO)
        self._take(register)
        if self._identity is None:
            self._identity = bytes(register)
        elif self._identity != register:
            self._gone(_ENODEV)  # on another card, the log's sectors hold something else
        self._state = _READY


def _blocks(csd):
    # The number of blocks that the card-specific data state.
    if csd[0] >> 6:
        return ((csd[7] & 0x3F) << 16 | csd[8] << 8 | csd[9]) + 1 << 10
    size = (csd[6] & 0x03) << 10 | csd[7] << 2 | csd[8] >> 6
    exponent = ((csd[9] & 0x03) << 1 | csd[10] >> 7) + 2 + (csd[5] & 0x0F) - 9
    return size + 1 << exponent
