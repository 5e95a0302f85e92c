# The 1-Wire bus: bytes, ROM codes and their check sum. Source: Maxim application notes 126 (timing, left to
# the board's pin), 187 (search) and 27 (CRC-8).

from protocol.constant import const

_SEARCH_ROM = const(0xF0)
_MATCH_ROM = const(0x55)
_SKIP_ROM = const(0xCC)
_CRC_POLYNOMIAL = const(0x8C)  # x^8 + x^5 + x^4 + 1, low bit first
_ROM_BYTES = const(8)


class OneWire:
    """A 1-Wire bus on a pin.

    pin: reset() -> bool (something answered), write_bit(bit), read_bit() -> 0 or 1.
    """

    def __init__(self, pin):
        self._pin = pin

    def write(self, byte):
        """Send a byte, low bit first."""
        pin = self._pin
        for _ in range(8):
            pin.write_bit(byte & 1)
            byte >>= 1

    def read_into(self, buffer):
        """Fill a buffer with bytes from the bus."""
        pin = self._pin
        for i in range(len(buffer)):
            byte = 0
            for bit in range(8):
                byte |= pin.read_bit() << bit
            buffer[i] = byte

    def reset(self):
        """Begin anew. Raises OSError(19) if nothing is on the bus."""
        if not self._pin.reset():
            raise OSError(19)

    def select(self, rom):
        """Begin anew and speak to the device with this ROM code (8 bytes), or with None to all at once."""
        self.reset()
        if rom is None:
            self.write(_SKIP_ROM)
            return
        self.write(_MATCH_ROM)
        for byte in rom:
            self.write(byte)

    def search(self):
        """Find the ROM codes of all devices: a generator of 8 bytes each. For the bench: it allocates.

        Raises OSError(19) if nothing is on the bus, OSError(5) if what answers is no ROM code.
        """
        rom = bytearray(_ROM_BYTES)
        branch = 0  # the last bit, from 1, at which the other way was open; 0: none
        while True:
            branch = self._descend(rom, branch)
            if crc8(rom) or not any(rom):  # a bus that is held low reads as zeros, whose check sum is right
                raise OSError(5)
            yield bytes(rom)
            if not branch:
                return

    def _descend(self, rom, last):
        # One pass of the search, along `rom` up to bit `last`, there to the other side. Returns the next
        # branch.
        pin = self._pin
        self.reset()
        self.write(_SEARCH_ROM)
        branch = 0
        for number in range(1, 8 * _ROM_BYTES + 1):
            at = number - 1 >> 3
            mask = 1 << (number - 1 & 7)
            zero = pin.read_bit()
            one = pin.read_bit()
            if zero and one:
                raise OSError(5)  # nobody answers any more
            if zero != one:
                bit = zero
            elif number < last:
                bit = 1 if rom[at] & mask else 0
            else:
                bit = 1 if number == last else 0
            if zero == one and not bit:
                branch = number
            rom[at] = rom[at] & ~mask | (mask if bit else 0)
            pin.write_bit(bit)
        return branch


def crc8(buffer):
    """CRC-8/MAXIM-DOW of a buffer; 0 if its last byte is the CRC of those before."""
    register = 0
    for byte in buffer:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ _CRC_POLYNOMIAL if register & 1 else register >> 1
    return register
