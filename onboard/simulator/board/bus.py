# The virtual I2C bus: the calls of machine.I2C that the drivers use, handed on to devices by address.

from protocol.constant import const

_ENODEV = const(19)
_BYTE_US = const(23)  # nine clocks at 400 kHz


class I2C:
    """A bus with devices. A device has write(buffer) and read_into(buffer), each one transaction.

    Raises OSError(19) if no device answers at the address, as machine.I2C does.
    """

    def __init__(self, clock):
        self._clock = clock
        self._devices = {}
        self._register = bytearray(1)

    def attach(self, address, device):
        """Put a device on the bus."""
        self._devices[address] = device

    def _device(self, address, length):
        self._clock.spend_us((1 + length) * _BYTE_US)
        if address not in self._devices:
            raise OSError(_ENODEV)
        return self._devices[address]

    def writeto(self, address, buffer):
        """Write bytes in one transaction."""
        self._device(address, len(buffer)).write(buffer)

    def readfrom_into(self, address, buffer):
        """Read bytes in one transaction."""
        self._device(address, len(buffer)).read_into(buffer)

    def readfrom_mem_into(self, address, register, buffer):
        """Write a register number, then read from there."""
        device = self._device(address, 2 + len(buffer))
        self._register[0] = register
        device.write(self._register)
        device.read_into(buffer)

    def writeto_mem(self, address, register, buffer):
        """Write a register number and bytes."""
        self._device(address, 1 + len(buffer)).write_register(register, buffer)
