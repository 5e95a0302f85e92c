# The real board: what the logger asks of a board, over MicroPython's own machine module.
#
# Written for the calls that the ports for RP2040, RP2350 and ESP32 have in common; see onboard/WIRING.md.

import gc
import time

import machine

from onboard.firmware.sdcard import SDCard
from protocol.constant import const
from protocol.tick import TICK_MASK

WATCHDOG_MS = 8000  # an RP2040 takes no more than 8388
_I2C_TIMEOUT_US = const(5000)  # a chip that holds the clock may not hold the logger
_RECEIVE_BYTES = const(1024)  # a second of a receiver at 9600 baud, should the logger be late
_SEND_BYTES = const(512)
_CARD_HZ = const(400000)  # until the card's driver chooses
_CLEAR_CLOCKS = const(9)


class Board:
    """The hardware that loftbook.json describes.

    settings: a Settings, of which `pins`, `sensors`, `baud`, `downlink` count; watchdog: a machine.WDT or
    None.
    Raises ValueError or KeyError if a pin cannot do what the configuration asks of it. A card that is missing
    or broken raises nothing here, but at its first use.
    """

    def __init__(self, settings, watchdog):
        pins = settings.pins
        self._pins = pins
        self._watchdog = watchdog
        for switch in settings.switches:  # first of all: until then an output floats
            try:
                self.output(switch["pin"], 1 if switch["inverted"] else 0)
            except (ValueError, KeyError):
                pass  # told when the switches are made
        self.reset_cause = machine.reset_cause()
        _clear_bus(pins["i2c_sda"], pins["i2c_scl"])
        self.i2c = machine.I2C(
            pins["i2c_id"], sda=machine.Pin(pins["i2c_sda"]), scl=machine.Pin(pins["i2c_scl"]),
            freq=pins["i2c_hz"], timeout=_I2C_TIMEOUT_US,
        )
        self.uart = _uart(pins, "gnss", settings.baud)
        self.downlink = _uart(pins, "downlink", settings.downlink["baud"]) if settings.downlink else None
        self.card = SDCard(
            machine.SPI(
                pins["card_spi"], baudrate=_CARD_HZ, polarity=0, phase=0, sck=machine.Pin(pins["card_sck"]),
                mosi=machine.Pin(pins["card_mosi"]), miso=machine.Pin(pins["card_miso"]),
            ),
            machine.Pin(pins["card_cs"], machine.Pin.OUT, value=1),
            self.ticks_ms,
        )
        self.onewire = OneWirePin(pins["onewire"]) if _has_onewire(settings.sensors) else None
        self._test_mode = machine.Pin(pins["test_mode"], machine.Pin.IN, machine.Pin.PULL_UP)

    def ticks_ms(self):
        """Milliseconds modulo TICK_PERIOD."""
        return time.ticks_ms() & TICK_MASK

    def idle(self, milliseconds):
        """Sleep."""
        time.sleep_ms(milliseconds)

    def adc(self, role):
        """The ADC input of a role."""
        adc = machine.ADC(machine.Pin(self._pins[role + "_adc"]))
        if hasattr(adc, "atten"):
            adc.atten(machine.ADC.ATTN_11DB)  # a port that has ranges: the widest
        return adc

    def output(self, pin, level=0):
        """The output of a switch, at that level from the start: a machine.Pin."""
        return machine.Pin(pin, machine.Pin.OUT, value=level)

    def is_ground_test(self):
        """Whether the jumper is in: the pin is pulled up and the jumper pulls it down."""
        return self._test_mode.value() == 0

    def feed(self):
        """Tell the watchdog that all is well."""
        if self._watchdog is not None:
            self._watchdog.feed()

    def free_heap(self):
        """Bytes of the heap that are free."""
        return gc.mem_free()


class OneWirePin:
    """A pin as master of a 1-Wire bus. The port's _onewire keeps the times (Maxim application note 126)."""

    def __init__(self, pin):
        import _onewire

        self._bus = _onewire
        self._pin = machine.Pin(pin, machine.Pin.OPEN_DRAIN, machine.Pin.PULL_UP)

    def reset(self):
        """Reset the bus. True if something answered."""
        return bool(self._bus.reset(self._pin))

    def write_bit(self, bit):
        """Send a bit."""
        self._bus.writebit(self._pin, bit)

    def read_bit(self):
        """Read a bit."""
        return self._bus.readbit(self._pin)


def _uart(pins, name, baud):
    return machine.UART(
        pins[name + "_uart"], baudrate=baud, timeout=0, rxbuf=_RECEIVE_BYTES, txbuf=_SEND_BYTES,
        tx=machine.Pin(pins[name + "_tx"]), rx=machine.Pin(pins[name + "_rx"]),
    )


def _has_onewire(sensors):
    for role in sensors:
        if sensors[role][0] == "ds18b20":
            return True
    return False


def _clear_bus(sda, scl):
    # A chip that was interrupted in the middle of a byte, by a reset of the board, holds the data line until
    # it has seen the rest of its clocks. Source: NXP UM10204, 3.1.16, "Bus clear".
    data = machine.Pin(sda, machine.Pin.IN, machine.Pin.PULL_UP)
    clock = machine.Pin(scl, machine.Pin.OPEN_DRAIN, machine.Pin.PULL_UP, value=1)
    for _ in range(_CLEAR_CLOCKS):
        if data.value():
            break
        clock.value(0)
        time.sleep_us(5)
        clock.value(1)
        time.sleep_us(5)
