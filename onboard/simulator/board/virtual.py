# The virtual board: clock, buses, devices and card, with what the logger asks of a board.

import json

from onboard.simulator.board.bus import I2C
from onboard.simulator.board.card import Card
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.devices import i2c_devices, onewire_devices
from onboard.simulator.board.noise import Noise
from onboard.simulator.board.pins import ADC, UART
from onboard.simulator.board.tape import Tape

from protocol.constant import const

_STEP_US = const(350)  # what the processor takes between two looks at the clock
_ANALOG = ("outside_temperature", "battery", "rail")  # columns of the stream
POWER_ON = 1  # machine.PWRON_RESET on most ports


class VirtualBoard:
    """The hardware of one payload, read from a folder: tape, board.json and card image.

    tape, clock: other ones than the folder's, for flights that begin in the middle or last for days.
    start: of this boot, (time on the tape in ms, reset cause); see `restart`.
    """

    def __init__(self, folder, tape=None, clock=None, start=(0, POWER_ON)):
        with open(folder + "/board.json") as file:
            parts = json.load(file)
        tape = tape or Tape(folder)
        self._faults = None
        self._reset = None  # (start, stop, cause) of the reset that ends this boot
        if parts.get("faults"):
            from onboard.simulator.board.faults import Faults

            self._faults = Faults(parts["faults"], parts["seed"])
            clock = self._faults.clock(tape.drift_ppm, start[0])
            self._faults.streams(tape, parts["chips"])
            self._reset = self._faults.reset_after(start[0])
        self._clock = clock or Clock(tape.drift_ppm, start[0])
        self.clock = self._clock  # for machine_shim
        self._until_ms = self._reset[0] if self._reset else tape.length_ms
        self._noise = Noise(parts["seed"])
        self._tape = tape
        self.reset_cause = start[1]
        self.i2c = I2C(self._clock)
        if self._faults:
            self.i2c = self._faults.bus(self.i2c)
        self._attach_chips(parts)
        self.onewire = None
        if parts["roms"]:
            from onboard.simulator.board.onewire import OneWirePin

            self.onewire = OneWirePin(self._clock)
            for _, device in onewire_devices(parts, tape, self._clock):
                self.onewire.attach(device)
        self.uart = UART(self._clock, tape, parts["baud"], parts.get("receiver"))
        self.downlink = None
        if "modem_baud" in parts:
            from onboard.simulator.board.modem import Modem

            self.downlink = Modem(self._clock, folder, parts["modem_baud"])
        self._folder = folder
        self._outputs = None
        self._ground_test = parts.get("ground_test", False)
        self.card = Card(self._clock, Noise(parts["seed"] + 1), folder + "/" + parts["card"])
        if self._faults:
            self._wrap_lines(parts["baud"])

    def _attach_chips(self, parts):
        for role, address, device in i2c_devices(parts, self._tape, self._clock):
            if self._faults:
                device = self._faults.chip(role, device, self._maker(parts, role))
            self.i2c.attach(address, device)

    def _maker(self, parts, role):
        def make():
            for found, _, device in i2c_devices(parts, self._tape, self._clock):
                if found == role:
                    return device

        return make

    def _wrap_lines(self, baud):
        self.uart = self._faults.uart(self.uart, baud)
        self.card = self._faults.card(self.card)
        if self.downlink:
            self.downlink = self._faults.modem(self.downlink)
        if self.onewire:
            self.onewire = self._faults.onewire(self.onewire)

    def adc(self, role):
        """The ADC input of a role."""
        def make(stream):
            return ADC(self._clock, self._noise, stream, _ANALOG.index(role))

        stream = self._tape.streams["analog"]
        return self._faults.adc(role, make, stream) if self._faults else make(stream)

    def output(self, pin, level=0):
        """The output of a switch, at that level from the start."""
        if self._outputs is None:
            from onboard.simulator.board.outputs import Outputs

            self._outputs = Outputs(self._folder, self._clock)
        return self._outputs.output(pin, level)

    def is_ground_test(self):
        """Whether the jumper of the ground test is in."""
        return self._ground_test

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
        """False when the tape has ended, or the supply is gone. Asked between two steps."""
        if self._faults:
            self._faults.weigh()
        return self._clock.world_ms() < self._until_ms

    def restart(self):
        """`start` of the boot that follows this one, or None if the tape has ended."""
        return self._reset[1:] if self._reset and self._reset[1] < self._tape.length_ms else None
