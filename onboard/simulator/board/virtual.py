# The virtual board: clock, buses, devices and card, with what the logger asks of a board.

import json

from onboard.simulator.board.barometer import BarometerDevice
from onboard.simulator.board.bus import I2C
from onboard.simulator.board.card import Card
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.humidity import HumidityDevice
from onboard.simulator.board.motion import MotionDevice
from onboard.simulator.board.noise import Noise
from onboard.simulator.board.pins import ADC, UART
from onboard.simulator.board.tape import Tape

from protocol.constant import const

_STEP_US = const(350)  # what the processor takes between two looks at the clock
_ANALOG = ("outside_temperature", "battery", "rail")  # columns of the stream
POWER_ON = 1  # machine.PWRON_RESET on most ports


class VirtualBoard:
    """The hardware of one payload, read from a folder: tape, board.json and card image."""

    def __init__(self, folder):
        with open(folder + "/board.json") as file:
            parts = json.load(file)
        tape = Tape(folder)
        self._clock = Clock(tape.drift_ppm)
        self._noise = Noise(parts["seed"])
        self._tape = tape
        self.reset_cause = POWER_ON
        self.i2c = I2C(self._clock)
        self.i2c.attach(0x77, BarometerDevice(self._clock, tape.streams["barometer"], parts["barometer_words"]))
        self.i2c.attach(0x44, HumidityDevice(self._clock, tape.streams["humidity"]))
        self.i2c.attach(0x68, MotionDevice(self._clock, tape.streams["motion"]))
        self.uart = UART(self._clock, tape, parts["baud"])
        self.card = Card(self._clock, Noise(parts["seed"] + 1), folder + "/" + parts["card"])

    def adc(self, role):
        """The ADC input of a role."""
        return ADC(self._clock, self._noise, self._tape.streams["analog"], _ANALOG.index(role))

    def ticks_ms(self):
        """The board's clock; looking at it takes a little time, as all work does."""
        self._clock.spend_us(_STEP_US)
        return self._clock.tick()

    def idle(self, milliseconds):
        """Sleep."""
        self._clock.spend_us(milliseconds * 1000)

    def free_heap(self):
        """None: a simulated board's heap says nothing about a real one, and would differ between interpreters."""
        return None

    def permille(self):
        """How much of the tape has been flown, in thousandths."""
        return self._clock.world_ms() // (self._tape.length_ms // 1000 + 1)

    def is_running(self):
        """False when the tape has ended."""
        return self._clock.world_ms() < self._tape.length_ms
