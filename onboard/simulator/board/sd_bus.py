# The SPI bus with the card: what a driver sees of machine.SPI and of the pin for chip select.


class SDBus:
    """What machine.SPI is to a driver, with one card on it. Takes time as the clock of the bus says."""

    def __init__(self, clock, device):
        self._clock = clock
        self._device = device
        self._hz = 1000000

    def init(self, baudrate):
        """Set the bus clock in Hz."""
        self._hz = baudrate

    def write(self, buffer):
        """Send bytes."""
        device = self._device
        for byte in buffer:
            device.exchange(byte)
        self._spend(len(buffer))

    def readinto(self, buffer, out=0):
        """Receive bytes while the same byte is sent."""
        device = self._device
        for i in range(len(buffer)):
            buffer[i] = device.exchange(out)
        self._spend(len(buffer))

    def _spend(self, count):
        self._clock.spend_us(10 + count * 8000 // (self._hz // 1000))


class SelectPin:
    """The chip select line as a machine.Pin."""

    def __init__(self, device):
        self._device = device
        self._level = 1

    def value(self, level=None):
        """Read or set the level."""
        if level is None:
            return self._level
        if level != self._level:
            self._device.select(not level)
        self._level = level
