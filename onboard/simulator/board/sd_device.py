# An SD card seen from the SPI bus: bytes in, bytes out, as the SD Association's Physical Layer Simplified
# Specification, chapter 7, describes it. It knows the commands of a start, of single blocks and of the
# registers; any other is illegal.

from onboard.simulator.board.sd_registers import card_identity, card_specific_data, crc7, crc16
from protocol.constant import const

BLOCK_SIZE = 512
_IDLE = const(0x01)
_ILLEGAL = const(0x04)
_WRONG_SUM = const(0x08)
_PARAMETER = const(0x40)
_START_BLOCK = const(0xFE)
_READ_FAILED = const(0x01)  # data error token: "error"
_OUT_OF_RANGE = const(0x09)  # and "out of range"
_ACCEPTED = const(0xE5)
_SUM_REFUSED = const(0xEB)
_WRITE_FAILED = const(0xED)
_GENERAL_ERROR = const(0x04)  # in the second byte of the status
_START_MS = const(120)  # that a card takes from the first ACMD41 to ready; the specification allows 1 s
_CLOCKS = const(74)
_DURING_START = (0, 8, 55, 58, 59, 141)  # 141: ACMD41

_LISTEN, _DATA_TOKEN, _DATA = 0, 1, 2


class SDDevice:
    """A card: SDHC, addressed by blocks, or an old one of version 1, addressed by bytes.

    clock: the board's Clock; card: a block device that holds its blocks and raises OSError for one that
    fails;
    identity: number in its CID; is_large: SDHC.
    `busy_ms`: how long it programs a block; `fails_late`: it accepts a block, and its status says afterwards
    that the block is lost.
    """

    def __init__(self, clock, card, identity=1, is_large=True):
        self._clock = clock
        self._card = card
        self._blocks = card.ioctl(4, 0)
        self._cid = card_identity(identity)
        self._is_large = is_large
        self._csd = card_specific_data(self._blocks, is_large)
        self._buffer = bytearray(BLOCK_SIZE)
        self._frame = bytearray(6)
        self._out = bytearray(8)  # what waits to be sent, then the bytes of a register or block and their sum
        self.busy_ms = 2
        self.fails_late = False
        self._sum = 0
        self.insert()

    def pull(self):
        """Take the card out of its socket."""
        self._present = False

    def insert(self):
        """Put the card into its socket; it begins anew."""
        self._present = True
        self._power_on()

    def _power_on(self):
        self._clocks = 0  # with the card not selected, since power-on
        self._on_spi = False
        self._is_idle = True
        self._starts_at = -1
        self._checks_sums = False
        self._application = False
        self._status = 0
        self._busy_until = -1
        self._selected = False
        self._listen()

    def _listen(self):
        self._state = _LISTEN
        self._taken = 0
        self._waiting = 0
        self._sent = 0
        self._tail = None

    def select(self, is_selected):
        """The chip select line: low is selected."""
        self._selected = is_selected
        self._listen()

    def exchange(self, byte):
        """Take a byte and give one, eight clocks."""
        if not self._present:
            return 0xFF
        if not self._selected:
            self._clocks += 8
            return 0xFF
        answer = self._next()
        if self._state == _DATA:
            self._take_data(byte)
        elif self._state == _DATA_TOKEN:
            if byte == _START_BLOCK:
                self._state = _DATA
                self._taken = 0
        elif self._taken or byte & 0xC0 == 0x40:
            self._frame[self._taken] = byte
            self._taken += 1
            if self._taken == 6:
                self._listen()
                self._act()
        return answer

    def _next(self):
        # The byte that goes out now.
        if self._sent < self._waiting:
            self._sent += 1
            return self._out[self._sent - 1]
        if self._tail is not None:
            return self._next_of_tail()
        if self._busy_until >= 0:
            if self._clock.world_ms() < self._busy_until:
                return 0x00
            self._busy_until = -1
        return 0xFF

    def _next_of_tail(self):
        at = self._sent - self._waiting
        self._sent += 1
        if at < len(self._tail):
            return self._tail[at]
        if at == len(self._tail):
            return self._sum >> 8
        self._tail = None
        return self._sum & 0xFF

    def _send(self, response):
        # One byte of pause comes before every response.
        self._waiting = self._sent = 0
        self._add(0xFF)
        self._add(response)

    def _add(self, byte):
        self._out[self._waiting] = byte
        self._waiting += 1

    def _send_data(self, data):
        self._send(0)
        self._add(0xFF)
        self._add(_START_BLOCK)
        self._tail = data
        self._sum = crc16(data)

    def _act(self):
        frame = self._frame
        command = frame[0] & 0x3F
        if self._busy_until >= 0:
            return  # deaf while it programs
        if not self._on_spi and (command != 0 or self._clocks < _CLOCKS):
            return
        wants_sum = self._checks_sums or command in (0, 8)
        if wants_sum and frame[5] != crc7(frame, 5):
            if self._on_spi:
                self._send(_WRONG_SUM | self._is_idle)
            return
        if self._application:
            command += 100
            self._application = False
        if command == 0:
            clocks = self._clocks
            self._power_on()
            self._selected = True
            self._clocks = clocks
            self._on_spi = True
            self._send(_IDLE)
        elif self._is_idle and command not in _DURING_START:
            self._send(_ILLEGAL | _IDLE)
        else:
            self._answer(command, frame)

    def _answer(self, command, frame):
        r1 = _IDLE if self._is_idle else 0
        if command == 8 and self._is_large:
            self._send(r1)
            self._add(0)
            self._add(0)
            self._add(frame[3] & 0x0F)
            self._add(frame[4])
        elif command == 55:
            self._application = True
            self._send(r1)
        elif command == 141:
            self._send(self._start(frame[1] & 0x40))
        elif command == 58:
            self._send(r1)
            self._add(0x00 if self._is_idle else 0xC0 if self._is_large else 0x80)
            self._add(0xFF)
            self._add(0x80)
            self._add(0x00)
        elif command == 59:
            self._checks_sums = frame[4] & 1 == 1
            self._send(r1)
        elif command == 9:
            self._send_data(self._csd)
        elif command == 10:
            self._send_data(self._cid)
        elif command == 13:
            self._send(r1)
            self._add(self._status)
            self._status = 0
        elif command == 16:
            self._send(r1 if frame[3] == 2 and frame[4] == 0 else _PARAMETER)
        elif command == 17:
            self._read()
        elif command == 24:
            self._begin_write()
        else:
            self._send(_ILLEGAL | r1)

    def _start(self, knows_large):
        if self._is_large and not knows_large:
            return _IDLE  # a host that does not know large cards waits for ever
        now = self._clock.world_ms()
        if self._starts_at < 0:
            self._starts_at = now + _START_MS
        self._is_idle = now < self._starts_at
        return _IDLE if self._is_idle else 0

    def _address(self):
        # The block that the command means.
        frame = self._frame
        if self._is_large:
            return frame[1] << 24 | frame[2] << 16 | frame[3] << 8 | frame[4]
        return frame[1] << 15 | frame[2] << 7 | frame[3] >> 1

    def _read(self):
        if self._address() >= self._blocks:
            self._fail_read(_OUT_OF_RANGE)
            return
        try:
            self._card.readblocks(self._address(), self._buffer)
        except OSError:
            self._fail_read(_READ_FAILED)
            return
        self._send_data(self._buffer)

    def _fail_read(self, token):
        self._send(0)
        self._add(0xFF)
        self._add(token)

    def _begin_write(self):
        if self._address() >= self._blocks:
            self._send(_PARAMETER)
            return
        self._send(0)
        self._state = _DATA_TOKEN

    def _take_data(self, byte):
        if self._taken < BLOCK_SIZE:
            self._buffer[self._taken] = byte
        else:
            self._sum = (self._sum << 8 | byte) & 0xFFFF
        self._taken += 1
        if self._taken < BLOCK_SIZE + 2:
            return
        self._listen()
        if self._checks_sums and self._sum != crc16(self._buffer):
            self._add(_SUM_REFUSED)
            return
        try:
            if self.fails_late:
                self._status = _GENERAL_ERROR
            else:
                self._card.writeblocks(self._address(), self._buffer)
        except OSError:
            self._add(_WRITE_FAILED)
            return
        self._add(_ACCEPTED)
        self._busy_until = self._clock.world_ms() + self.busy_ms
