# Scheduled faults: wrappers around the parts of the virtual board that fail at set times.
#
# A part is wrapped only if a fault names it. Everything random comes from a generator of the target's own, in whole
# numbers, so that every interpreter computes the same flight. What the kinds mean stands in simulator/fault_words.py.

from onboard.simulator.board.bus import I2C
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.fault_lines import FaultyCard, FaultyModem, FaultySentences, FaultyUART
from onboard.simulator.board.noise import Noise
from protocol.constant import const

_ENODEV = const(19)
_ETIMEDOUT = const(110)
_KIND = const(0)  # what stands where in a row of the schedule
_TARGET = const(1)
_START = const(2)
_STOP = const(3)
_NUMBER = const(4)
_SENSED = ("frozen", "noisy", "shifted")  # what the sensing element suffers; the chip behind it works
_ANALOG_MOST = const(0xFFFFF)
_LIMITS = {"ms5611": (0, 0xFFFFFF), "bmp280": (0, 0xFFFFF), "sht3x": (0, 65535)}  # what a chip can say
_SIGNED = (-32768, 32767)  # the others


class Plan:
    """The faults of one target. rows: of the schedule; noise: the target's own."""

    def __init__(self, rows, clock, noise):
        self._rows = rows
        self._clock = clock
        self.noise = noise

    def row(self, kind):
        """The row of a kind that holds now, or None."""
        now = self._clock.world_ms()
        for row in self._rows:
            if row[_KIND] == kind and row[_START] <= now < row[_STOP]:
                return row
        return None

    def number(self, kind):
        """The number of the fault of a kind that holds now, or None."""
        row = self.row(kind)
        return None if row is None else row[_NUMBER]


class Faults:
    """A schedule: rows [kind, target, start_ms, stop_ms, number], times on the tape; seed: of the noise.

    First ask for the clock. Each further method takes a part of the board and gives it back, wrapped if the schedule
    names it.
    """

    def __init__(self, rows, seed):
        self._rows = rows
        self._seed = seed
        self._clock = None
        self._memory = None  # the Plan of it
        self._ballast = None

    def _plan(self, target, kinds=None):
        rows = [row for row in self._rows if row[_TARGET] == target and (kinds is None or row[_KIND] in kinds)]
        if not rows:
            return None
        seed = self._seed
        for letter in target.encode():
            seed = seed * 31 + letter & 0xFFFF
        return Plan(rows, self._clock, Noise(seed))

    def clock(self, drift_ppm, world_ms):
        """The board's clock, which shows 0 at this time on the tape."""
        rows = [row for row in self._rows if row[_KIND] == "drift"]
        self._clock = DriftingClock(drift_ppm, world_ms, rows) if rows else Clock(drift_ppm, world_ms)
        return self._clock

    def bus(self, bus):
        """The I2C bus, before its devices are attached."""
        plan = self._plan("bus")
        return FaultyI2C(self._clock, plan) if plan else bus

    def streams(self, tape, chips):
        """Exchange the streams of a tape whose sensing elements suffer. chips: role -> [chip, address]."""
        for role in chips:
            self._sense(tape.streams, role, role, _LIMITS.get(chips[role][0], _SIGNED))
        self._sense(tape.streams, "onewire", "probes", _SIGNED)
        plan = self._plan("gnss", ("frozen", "nofix"))
        if plan:
            tape.sentences = FaultySentences(tape.sentences, plan)
            if tape.low_sentences:
                tape.low_sentences = FaultySentences(tape.low_sentences, plan)

    def _sense(self, streams, name, target, limits):
        plan = self._plan(target, _SENSED)
        if plan and name in streams:
            streams[name] = FaultyStream(streams[name], plan, self._clock, limits)

    def chip(self, target, chip, make):
        """A chip. make: function that makes a fresh one, for when it had lost its supply."""
        plan = self._plan(target)
        return FaultyChip(chip, make, plan) if plan else chip

    def adc(self, target, make, stream):
        """An ADC input. make: function of its stream."""
        sensed = self._plan(target, _SENSED)
        if sensed:
            stream = FaultyStream(stream, sensed, self._clock, (0, _ANALOG_MOST))
        plan = self._plan(target)
        return FaultyADC(make(stream), plan) if plan else make(stream)

    def onewire(self, line):
        """The 1-Wire line."""
        plan = self._plan("probes")
        return FaultyOneWire(line, plan) if plan else line

    def uart(self, uart, baud):
        """The line from the GNSS receiver."""
        plan = self._plan("gnss", ("silent", "garbled", "babbling"))
        return FaultyUART(uart, plan, self._clock, baud) if plan else uart

    def modem(self, modem):
        """The downlink's modem."""
        plan = self._plan("downlink")
        return FaultyModem(modem, plan) if plan else modem

    def card(self, card):
        """The card."""
        plan = self._plan("card")
        return FaultyCard(card, plan, self._clock) if plan else card

    def reset_after(self, world_ms):
        """The next reset later than a time on the tape: (start_ms, stop_ms, reset cause), or None."""
        found = None
        for row in self._rows:
            if row[_KIND] == "reset" and row[_START] > world_ms and (found is None or row[_START] < found[0]):
                found = (row[_START], row[_STOP], row[_NUMBER])
        return found

    def weigh(self):
        """Take up or let go of the memory that the fault "tight" holds. Call it between two steps."""
        if self._memory is None:
            self._memory = Plan(self._rows, self._clock, None)
        left = self._memory.number("tight")
        if left is None:
            self._ballast = None
        elif self._ballast is None:
            self._ballast = _ballast(left)


def _ballast(left):
    # Pieces until so little of the heap is free. CPython does not say how much that is, and has no such limit.
    import gc

    pieces = []
    if hasattr(gc, "mem_free"):
        gc.collect()
        while gc.mem_free() > left + 1024:
            pieces.append(bytearray(512))
    return pieces


class DriftingClock(Clock):
    """A clock whose crystal runs faster or slower for a while, by the rows' number of millionths more."""

    def __init__(self, drift_ppm, world_ms, rows):
        Clock.__init__(self, drift_ppm, world_ms)
        self._plan = Plan(rows, self, None)
        self._ahead_ms = 0  # of the board against the drift that never changes
        self._ahead = 0  # the part of it below 1 ms, in billionths of that

    def spend_us(self, microseconds):
        """Let some time go by."""
        Clock.spend_us(self, microseconds)
        ppm = self._plan.number("drift")
        if ppm:
            self._ahead += microseconds * ppm
            self._ahead_ms += self._ahead // 1000000000
            self._ahead %= 1000000000

    def world_ms(self):
        """Real time since the start of the tape, in ms."""
        return Clock.world_ms(self) - self._ahead_ms


class FaultyI2C(I2C):
    """A bus that nothing gets through ("silent"), or whose data line is held down ("stuck", number: ms until the
    bus driver gives a transaction up)."""

    def __init__(self, clock, plan):
        I2C.__init__(self, clock)
        self._plan = plan

    def _device(self, address, length):
        timeout_ms = self._plan.number("stuck")
        if timeout_ms is not None:
            self._clock.spend_us(timeout_ms * 1000)
            raise OSError(_ETIMEDOUT)
        if self._plan.row("silent"):
            raise OSError(_ENODEV)
        return I2C._device(self, address, length)


class FaultyChip:
    """A chip on a bus. After a silence it is as after power-on: its supply was gone. make: gives a fresh chip."""

    def __init__(self, chip, make, plan):
        self._make = make
        self._chip = chip
        self._plan = plan
        self._was_silent = False

    def _reach(self):
        if self._plan.row("silent"):
            self._was_silent = True
            raise OSError(_ENODEV)
        if self._was_silent:
            self._was_silent = False
            self._chip = self._make()
        return self._chip

    def write(self, buffer):
        """Take bytes."""
        self._reach().write(buffer)

    def write_register(self, register, buffer):
        """Take bytes for a register."""
        self._reach().write_register(register, buffer)

    def read_into(self, buffer):
        """Answer, or give something else for an answer."""
        self._reach().read_into(buffer)
        plan = self._plan
        if plan.row("zeros") or plan.row("ones"):
            level = 0 if plan.row("zeros") else 0xFF
            for i in range(len(buffer)):
                buffer[i] = level
        chance = plan.number("garbled")
        if chance is not None and plan.noise.next() % 1000 < chance:
            buffer[plan.noise.next() % len(buffer)] ^= 1 << plan.noise.next() % 8


class FaultyStream:
    """What a sensing element says: held, noisy or beside the truth."""

    def __init__(self, stream, plan, clock, limits):
        self._stream = stream
        self._plan = plan
        self._clock = clock
        self._least, self._most = limits

    def at(self, world_ms):
        """Select the row of a time."""
        frozen = self._plan.row("frozen")
        self._stream.at(frozen[_START] if frozen else world_ms)

    def value(self, column):
        """The selected row's value in a column."""
        value = self._stream.value(column)
        size = self._plan.number("noisy")
        if size is not None:
            value += (self._plan.noise.next() - 32768) * size // 32768
        value += self._plan.number("shifted") or 0
        return max(self._least, min(self._most, value))


class FaultyADC:
    """An input of a converter."""

    def __init__(self, adc, plan):
        self._adc = adc
        self._plan = plan

    def read_u16(self):
        """One reading. Raises OSError(110) while the converter is silent."""
        if self._plan.row("silent"):
            raise OSError(_ETIMEDOUT)
        reading = self._adc.read_u16()
        if self._plan.row("zeros"):
            return 0
        return 65535 if self._plan.row("ones") else reading


class FaultyOneWire:
    """A 1-Wire line: cut ("silent") or held down ("stuck"); "garbled": some bits, number in thousandths, are read
    the wrong way round."""

    def __init__(self, line, plan):
        self._line = line
        self._plan = plan

    def reset(self):
        """Reset the line. Returns True if a device is present."""
        present = self._line.reset()
        return present and not self._plan.row("silent") and not self._plan.row("stuck")

    def write_bit(self, bit):
        """Write a bit."""
        self._line.write_bit(bit)

    def read_bit(self):
        """Read a bit: 1 is what nobody says, 0 a line that is held down."""
        bit = self._line.read_bit()
        plan = self._plan
        if plan.row("silent"):
            return 1
        if plan.row("stuck"):
            return 0
        chance = plan.number("garbled")
        if chance is not None and plan.noise.next() % 1000 < chance:
            return 1 - bit
        return bit
