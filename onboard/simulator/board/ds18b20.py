# The DS18B20 as its data sheet (19-7487, revision 6) describes it, seen from the 1-Wire bus, bit by bit: a
# reset, a ROM command, a function command; bytes go low bit first. It has a supply of its own.

from protocol.constant import const

# What the slave does with the next slot.
_ASLEEP = const(0)  # not spoken to until the next reset
_ROM_COMMAND = const(1)
_MATCHING = const(2)
_SEARCHING = const(3)
_FUNCTION = const(4)
_TELLING = const(5)  # bytes to be read, then ones
_BUSY = const(6)  # 0 while it converts, then ones
_TAKING = const(7)  # bytes of the scratchpad

_CONVERSION_MS = (94, 188, 375, 750)  # at 9 to 12 bits, at most
_POWER_ON = b"\x50\x05\x4b\x46\x7f\xff\x0c\x10"  # +85 degC, the alarm's 75 and 70 degC, 12 bits
_OWN_SUPPLY = b"\xff"


class Ds18b20Device:
    """clock: the board's Clock; stream: rows of signed words of the temperature register; column: which of
    them; rom: 8 bytes, family code 0x28 first, its check sum last.
    """

    def __init__(self, clock, stream, column, rom):
        self._clock = clock
        self._stream = stream
        self._column = column
        self._rom = rom
        self._scratchpad = bytearray(9)  # its check sum last
        self.power_on()

    def power_on(self):
        """What a supply does that was away for a moment."""
        self._scratchpad[:8] = _POWER_ON
        self._state = _ASLEEP
        self._done_at = None  # when the running conversion is over; None: none runs

    def reset(self):
        """The reset pulse. Returns True: present."""
        self._update()
        self._await(_ROM_COMMAND)
        return True

    def _await(self, state):
        self._state = state
        self._bits = 0  # slots since the state began
        self._taken = 0  # the bits written in them, the first one lowest

    def write(self, bit):
        """A write slot."""
        state = self._state
        if state == _SEARCHING:
            self._choose(bit)
        elif state == _MATCHING:
            self._taken |= bit << (self._bits & 7)
            self._bits += 1
            if self._bits & 7 == 0:
                if self._taken != self._rom[(self._bits >> 3) - 1]:
                    self._state = _ASLEEP
                elif self._bits == 64:
                    self._await(_FUNCTION)
                self._taken = 0
        elif state in (_ROM_COMMAND, _FUNCTION, _TAKING):
            self._taken |= bit << self._bits
            self._bits += 1
            if self._bits & 7 == 0:
                self._whole_byte(state)

    def _whole_byte(self, state):
        if state == _TAKING:
            if self._bits == 24:  # TH, TL and configuration, of which five bits are 1 whatever is written
                self._scratchpad[2] = self._taken & 0xFF
                self._scratchpad[3] = self._taken >> 8 & 0xFF
                self._scratchpad[4] = self._taken >> 16 & 0x60 | 0x1F
                self._state = _ASLEEP
            return
        command = self._taken
        self._await(_ASLEEP)
        if state == _ROM_COMMAND:
            if command == 0x33:
                self._tell(self._rom)
            elif command == 0x55:
                self._await(_MATCHING)
            elif command == 0xCC:
                self._await(_FUNCTION)
            elif command == 0xF0:
                self._await(_SEARCHING)
        elif command == 0x44:
            self._stream.at(self._clock.world_ms())
            self._sampled = self._stream.value(self._column) & 0xFFFF
            self._done_at = self._clock.world_ms() + _CONVERSION_MS[self._resolution()]
            self._state = _BUSY
        elif command == 0xBE:
            self._update()
            self._scratchpad[8] = _crc8(self._scratchpad)
            self._tell(self._scratchpad)
        elif command == 0x4E:
            self._await(_TAKING)
        elif command == 0xB4:
            self._tell(_OWN_SUPPLY)

    def _resolution(self):
        return self._scratchpad[4] >> 5

    def _tell(self, data):
        self._await(_TELLING)
        self._data = data

    def read(self):
        """A read slot. Returns the bit that this slave lets through."""
        state = self._state
        if state == _BUSY:
            self._update()
            return 0 if self._done_at is not None else 1
        bit = 1
        if state == _TELLING and self._bits < 8 * len(self._data):
            bit = self._data[self._bits >> 3] >> (self._bits & 7) & 1
        elif state == _SEARCHING:
            bit = self._rom_bit() ^ (self._bits % 3)  # first the bit itself, then its complement
        self._bits += 1
        return bit

    def _rom_bit(self):
        # Each bit of the code takes three slots of a search.
        number = self._bits // 3
        return self._rom[number >> 3] >> (number & 7) & 1

    def _choose(self, bit):
        # Whoever has another bit than the one that the master goes on with is out until the next reset.
        if bit != self._rom_bit():
            self._state = _ASLEEP
        self._bits += 1
        if self._bits == 3 * 64:
            self._await(_FUNCTION)

    def _update(self):
        if self._done_at is not None and self._clock.world_ms() >= self._done_at:
            self._done_at = None
            word = self._sampled >> 3 - self._resolution() << 3 - self._resolution()
            self._scratchpad[0] = word & 0xFF
            self._scratchpad[1] = word >> 8


def _crc8(scratchpad):
    # x^8 + x^5 + x^4 + 1 as the data sheet draws it ("CRC generator"): a shift register of eight stages that
    # is fed bit by bit; what its last stage holds is sent first.
    stages = 0
    for i in range(8):
        for bit in range(8):
            feedback = stages >> 7 ^ scratchpad[i] >> bit & 1
            stages = stages << 1 & 0xFF
            if feedback:
                stages ^= 0x31
    code = 0
    for i in range(8):
        code |= (stages >> 7 - i & 1) << i
    return code
