# Faults of the GNSS receiver, its line, the modem and the card; see faults.py.

from protocol.constant import const

_ENODEV = const(19)
_EIO = const(5)
_EROFS = const(30)
_ETIMEDOUT = const(110)
_START = const(2)  # place in a row of the schedule
_BUFFER = const(256)  # characters that a board's UART holds; more are lost
_STALL_EVERY = const(16)  # writes


class FaultySentences:
    """A receiver that repeats itself ("frozen"), or sees no satellites ("nofix")."""

    def __init__(self, sentences, plan):
        self._sentences = sentences
        self._plan = plan
        self._second = -1  # of which the text is held
        self._text = None  # what it says in place of what stands on the tape

    def select(self, second):
        """Hold the sentences of a second. Returns their length in bytes."""
        if self._plan.row("nofix"):
            if self._second != second:
                self._text = self._without_fix(second)
                self._second = second
            return len(self._text)
        self._second = -1
        self._text = None
        frozen = self._plan.row("frozen")
        return self._sentences.select(frozen[_START] // 1000 if frozen else second)

    def byte(self, position):
        """A byte of the held sentences."""
        return self._sentences.byte(position) if self._text is None else self._text[position]

    def _without_fix(self, second):
        # The clock goes on without satellites, all else stands empty: NMEA 0183 as in the u-blox M8 receiver
        # description.
        length = self._sentences.select(second)
        line = bytes([self._sentences.byte(i) for i in range(length)]).split(b"\n")[0]
        fields = line.decode().split(",")
        if len(fields) < 10:
            return b""
        time, date = fields[1], fields[9]
        text = b""
        for body in ("GNRMC,{},V,,,,,,,{},,,N".format(time, date), "GNGGA,{},,,,,0,00,99.99,,,,,,".format(time)):
            check = 0
            for byte in body.encode():
                check ^= byte
            text += "${}*{:02X}\r\n".format(body, check).encode()
        return text


class FaultyUART:
    """The receiver's line: cut ("silent"), with hits ("garbled", number: characters in a thousand), or with
    nothing but noise at its full rate ("babbling")."""

    def __init__(self, uart, plan, clock, baud):
        self._uart = uart
        self._plan = plan
        self._clock = clock
        self._baud = baud
        self._scratch = bytearray(64)
        self._babbled_at = -1
        self._was_silent = False

    def _drop(self):
        while self._uart.any() and self._uart.readinto(self._scratch, len(self._scratch)):
            pass

    def _silent(self):
        # A receiver that takes commands has lost its supply, and with it what it was told.
        silent = self._plan.row("silent") is not None
        if self._was_silent and not silent and self._uart.receiver:
            self._uart.receiver.power_on()
        self._was_silent = silent
        return silent

    def any(self):
        """Characters that have arrived and were not read."""
        plan = self._plan
        babbling = plan.row("babbling")
        silent = self._silent()
        if babbling or silent:
            self._drop()
        if not babbling:
            self._babbled_at = -1
            return self._uart.any()
        now = self._clock.world_ms()
        if self._babbled_at < 0:
            self._babbled_at = now
        return min((now - self._babbled_at) * self._baud // 10000, _BUFFER)

    def readinto(self, buffer, count):
        """Read up to count characters into the buffer. Returns how many."""
        plan = self._plan
        waiting = self.any()
        if self._babbled_at >= 0:
            count = min(count, waiting, len(buffer))
            for i in range(count):
                buffer[i] = plan.noise.next() & 0xFF
            if count == waiting:
                self._babbled_at = self._clock.world_ms()
            else:
                self._babbled_at += count * 10000 // self._baud
            return count
        count = self._uart.readinto(buffer, count)
        chance = plan.number("garbled")
        if chance is not None:
            for i in range(count):
                if plan.noise.next() % 1000 < chance:
                    buffer[i] = plan.noise.next() & 0xFF
        return count

    def write(self, buffer):
        """Say something to the receiver; it hears nothing on a line that is cut."""
        return len(buffer) if self._silent() else self._uart.write(buffer)


class FaultyModem:
    """A modem that takes nothing ("silent")."""

    def __init__(self, modem, plan):
        self._modem = modem
        self._plan = plan

    def write(self, buffer, offset, count):
        """Take bytes. Raises OSError(110) while it takes none."""
        if self._plan.row("silent"):
            raise OSError(_ETIMEDOUT)
        return self._modem.write(buffer, offset, count)

    def close(self):
        """Close the files."""
        self._modem.close()


class FaultyCard:
    """A card that is out of its holder ("pulled"), read-only, slow, stalling, or refuses writes."""

    def __init__(self, card, plan, clock):
        self._card = card
        self._plan = plan
        self._clock = clock
        self._writes = 0

    def _reach(self):
        if self._plan.row("pulled"):
            raise OSError(_ENODEV)
        return self._card

    def readblocks(self, number, buffer, offset=0):
        """Read blocks."""
        self._reach().readblocks(number, buffer, offset)

    def writeblocks(self, number, buffer, offset=0):
        """Write blocks."""
        card = self._reach()
        plan = self._plan
        self._writes += 1
        self._clock.spend_us(1000 * (plan.number("slow") or 0))
        if self._writes % _STALL_EVERY == 0:
            self._clock.spend_us(1000 * (plan.number("stalling") or 0))
        if plan.row("read-only"):
            raise OSError(_EROFS)
        chance = plan.number("refusing")
        if chance is not None and plan.noise.next() % 1000 < chance:
            raise OSError(_EIO)
        card.writeblocks(number, buffer, offset)

    def ioctl(self, operation, argument):
        """Block count and size."""
        return self._reach().ioctl(operation, argument)

    def close(self):
        """Write everything to the image."""
        self._card.close()
