# The virtual 1-Wire bus, bit by bit: the line is low if anybody holds it low, so that several slaves who
# speak at once are heard as the AND of their bits. Source: DS18B20 data sheet 19-7487, "1-Wire bus system".

from protocol.constant import const

_RESET_US = const(960)  # the pulse and the window for the answer
_SLOT_US = const(70)  # 60 us and the recovery


class OneWirePin:
    """The pin that the bus hangs on. A slave has reset() -> bool, write(bit), read() -> bit."""

    def __init__(self, clock):
        self._clock = clock
        self._slaves = []

    def attach(self, slave):
        """Put a slave on the bus."""
        self._slaves.append(slave)

    def reset(self):
        """The reset pulse. True if somebody answers."""
        self._clock.spend_us(_RESET_US)
        present = False
        for slave in self._slaves:
            if slave.reset():
                present = True
        return present

    def write_bit(self, bit):
        """A write slot."""
        self._clock.spend_us(_SLOT_US)
        for slave in self._slaves:
            slave.write(bit)

    def read_bit(self):
        """A read slot: 1 unless somebody pulls the line down."""
        self._clock.spend_us(_SLOT_US)
        line = 1
        for slave in self._slaves:
            line &= slave.read()
        return line
