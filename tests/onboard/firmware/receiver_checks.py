# Checks of the GNSS receiver's configuration, run on CPython and on both MicroPython interpreters by
# test_drivers_everywhere.py. Each takes nothing, and raises if something is not as its name says.

from onboard.firmware.gnss_task import GnssTask
from onboard.firmware.ubx import ACKNOWLEDGED, REFUSED, AckReader, frame, nav5_frame, valset_frame
from onboard.simulator.board.clock import Clock
from onboard.simulator.board.noise import Noise
from onboard.simulator.board.pins import UART
from onboard.simulator.board.receiver import Receiver
from protocol.table import event_code

# UBX-ACK-ACK for UBX-CFG-NAV5, by the rule of the check sum in the u-blox M8 receiver description.
ACK_NAV5 = b"\xb5\x62\x05\x01\x02\x00\x06\x24\x32\x5b"
# The same document's example of GGA.
GGA = b"$GPGGA,092725.00,4717.11399,N,00833.91590,E,1,08,1.01,499.6,M,48.0,M,,*5B\r\n"
SET, NOT_SET = event_code("receiver set"), event_code("receiver not set")


def expect(found, wanted):
    if found != wanted:
        raise AssertionError("found {}, not {}".format(found, wanted))


class Events:
    """Keeps what is noted and said."""

    def __init__(self):
        self.noted = []
        self.said = []

    def note(self, code, subject, detail):
        self.noted.append((code, subject, detail))

    def say(self, message):
        self.said.append(message)


class Store:
    def emit(self, layout, tick):
        pass

    emit_late = emit


class Silent:
    """Sentences of a receiver that has none."""

    def select(self, second):
        return 0


class Line:
    """A UART with a receiver that speaks once a second, and what was sent to it."""

    def __init__(self, kind):
        self.receiver = Receiver(Silent(), Silent(), kind)
        self.text = b""  # what waits
        self.sent = []
        self.is_broken = False

    def write(self, buffer):
        if self.is_broken:
            raise OSError(5)
        self.sent.append(bytes(buffer))
        self.receiver.take(buffer)
        return len(buffer)

    def any(self):
        return self.receiver.answered + len(self.text)

    def readinto(self, buffer, count):
        count = min(count, self.any())
        for i in range(count):
            if self.receiver.answered:
                buffer[i] = self.receiver.next()
            else:
                buffer[i] = self.text[0]
                self.text = self.text[1:]
        return count


class Talk:
    """A GnssTask with its line, second by second."""

    def __init__(self, kind, model=8):
        self.line = Line(kind)
        self.events = Events()
        self.task = GnssTask(self.line, 9600, Store(), self.events, model)
        self.ms = 0

    def go_on(self, seconds, speaks=True, quality=1):
        for _ in range(seconds):
            if speaks:
                self.line.text = epoch(self.ms // 1000, quality)
            for _ in range(20):
                self.ms += 50
                self.task.step(self.ms)

    def codes(self):
        return [(code, detail) for code, _, detail in self.events.noted if code in (SET, NOT_SET)]


def epoch(second, quality):
    place = "4717.11399,N,00833.91590,E" if quality else ",,,"
    height = "499.6" if quality else ""
    body = "GNGGA,0927{:02d}.00,{},{},08,1.01,{},M,48.0,M,,".format(second % 60, place, quality, height)
    total = 0
    for byte in body.encode():
        total ^= byte
    return "${}*{:02X}\r\n".format(body, total).encode()


def check_frames_are_the_published_ones():
    # Polls of MON-VER and CFG-NAV5 by the rule of the u-blox M8 receiver description. The two that set a
    # model: the same bytes came from pyubx2, a library of its own, when the check values were collected.
    expect(frame(0x0A, 0x04, b""), b"\xb5\x62\x0a\x04\x00\x00\x0e\x34")
    expect(frame(0x06, 0x24, b""), b"\xb5\x62\x06\x24\x00\x00\x2a\x84")
    expect(nav5_frame(6), b"\xb5\x62\x06\x24\x24\x00\x01\x00\x06" + bytes(33) + b"\x55\xb4")
    expect(valset_frame(6), b"\xb5\x62\x06\x8a\x09\x00\x00\x01\x00\x00\x21\x00\x11\x20\x06\xf2\x4f")


def check_the_published_answer_is_found_in_any_two_pieces():
    reader = AckReader()
    for cut in range(len(ACK_NAV5) + 1):
        reader.restart()
        stream = GGA + ACK_NAV5[:cut], ACK_NAV5[cut:] + GGA
        for piece in stream:
            reader.feed(piece, len(piece))
        expect(reader.answer, ACKNOWLEDGED)


def check_an_answer_survives_everything_in_front_of_it():
    nak = bytes(frame(5, 0, b"\x06\x8a"))
    long = b"\xb5\x62\x01\x07\xff\xff"  # the beginning of a frame of 65535 bytes
    for before in (b"\xb5", b"\xb5\x62", b"\xb5\x62\x05", ACK_NAV5[:9], long, b"\xb5\xb5", GGA[:30]):
        reader = AckReader()
        reader.feed(before + nak, len(before) + len(nak))
        expect(reader.answer, REFUSED)


def check_an_answer_with_a_flipped_bit_is_none():
    for place in range(len(ACK_NAV5)):
        for bit in range(8):
            hit = bytearray(ACK_NAV5)
            hit[place] ^= 1 << bit
            reader = AckReader()
            reader.feed(hit, len(hit))
            expect(reader.answer, None)


def check_an_answer_to_another_message_is_none():
    for class_id in (b"\x06\x01", b"\x0a\x24", b"\x06\x8b"):
        other = frame(5, 1, class_id)
        reader = AckReader()
        reader.feed(other, len(other))
        expect(reader.answer, None)


def check_noise_gives_no_answer():
    noise = Noise(7)
    reader = AckReader()
    buffer = bytearray(64)
    for _ in range(300):
        for i in range(64):  # half of it from the bytes of an answer
            byte = noise.next() & 0xFF
            buffer[i] = ACK_NAV5[byte & 7] if noise.next() & 1 else byte
        reader.feed(buffer, 64)
    expect(reader.answer, None)


def check_an_older_receiver_takes_the_model_at_the_first_try():
    talk = Talk("nav5")
    talk.go_on(10)
    expect(talk.line.receiver.model, 8)
    expect(talk.codes(), [(SET, 8)])
    expect(talk.line.sent, [bytes(nav5_frame(8))])
    expect(talk.events.said, [])


def check_a_newer_receiver_takes_it_the_other_way():
    talk = Talk("valset", 6)
    talk.go_on(10)
    expect(talk.line.receiver.model, 6)
    expect(talk.codes(), [(SET, 6)])
    expect(talk.line.sent, [bytes(nav5_frame(6)), bytes(valset_frame(6))])


def check_a_receiver_that_hears_nothing_is_asked_three_times_and_told_of_once():
    talk = Talk("mute")
    talk.go_on(30)
    expect(talk.codes(), [(NOT_SET, 2)])
    expect(len(talk.line.sent), 6)
    expect(len(talk.events.said), 1)
    expect("12 km" in talk.events.said[0], True)


def check_a_receiver_that_refuses_is_told_of_as_such():
    talk = Talk("nav5", 99)  # no such model
    talk.go_on(30)
    expect(talk.codes(), [(NOT_SET, 1)])
    expect(talk.line.receiver.model, 0)


def check_a_line_that_cannot_send_is_no_answer():
    talk = Talk("nav5")
    talk.line.is_broken = True
    talk.go_on(10)
    expect(talk.codes(), [(NOT_SET, 2)])
    expect(talk.task.height_m, 499)


def check_a_receiver_that_comes_late_is_asked_then():
    talk = Talk("nav5")
    receiver, talk.line.receiver = talk.line.receiver, Receiver(Silent(), Silent(), "mute")
    talk.go_on(8, speaks=False)
    expect(talk.codes(), [(NOT_SET, 2)])
    talk.line.receiver = receiver
    talk.go_on(5)
    expect(talk.codes(), [(NOT_SET, 2), (SET, 8)])


def check_a_receiver_that_was_silent_and_lost_its_memory_is_asked_again():
    talk = Talk("nav5")
    talk.go_on(20)
    talk.go_on(12, speaks=False)
    talk.line.receiver.power_on()
    talk.go_on(5)
    expect(talk.line.receiver.model, 8)
    expect(talk.codes(), [(SET, 8), (SET, 8)])


def check_a_receiver_that_was_reset_for_a_moment_is_asked_again():
    talk = Talk("nav5")
    talk.go_on(90)
    talk.line.receiver.power_on()
    talk.go_on(1, speaks=False)
    talk.go_on(5, quality=0)
    expect(talk.line.receiver.model, 8)
    for _ in range(5):  # a fix that comes and goes
        talk.go_on(3)
        talk.go_on(3, quality=0)
    expect(talk.codes(), [(SET, 8), (SET, 8)])


def check_a_receiver_that_is_only_listened_to_is_never_written_to():
    talk = Talk("nav5", None)
    talk.go_on(30)
    expect(talk.line.sent, [])
    expect(talk.codes(), [])
    expect(talk.task.height_m, 499)


class Words:
    """Sentences that say the same each second."""

    def __init__(self, text):
        self.text = text

    def select(self, second):
        return len(self.text)

    def byte(self, position):
        return self.text[position]


class Tape:
    gnss_delay_ms = 100
    sentences = Words(b"far above " * 9)
    low_sentences = Words(b"down here " * 9)


def heard(uart, clock, until_ms):
    """Everything that comes until a time, read in pieces of seven at odd moments."""
    text = b""
    buffer = bytearray(7)
    while clock.world_ms() < until_ms:
        clock.spend_us(13000)
        while uart.any():
            count = uart.readinto(buffer, 7)
            text += bytes(buffer[:count])
    return text


def check_the_virtual_line_answers_between_two_seconds_and_then_says_more():
    clock = Clock(0)
    uart = UART(clock, Tape(), 9600, "nav5")
    low, far = Tape.low_sentences.text, Tape.sentences.text
    first = heard(uart, clock, 150)  # amid the first second's sentences
    expect(0 < len(first) < len(low), True)
    uart.write(nav5_frame(8))
    text = first + heard(uart, clock, 2900)
    expect(text, low + frame(5, 1, b"\x06\x24") + far + far)


def check_a_mute_receiver_takes_nothing():
    clock = Clock(0)
    uart = UART(clock, Tape(), 9600, "mute")
    uart.write(nav5_frame(8))
    uart.write(valset_frame(8))
    expect(heard(uart, clock, 1900), Tape.low_sentences.text * 2)


def check_the_virtual_receiver_refuses_what_its_data_sheet_says_it_would():
    for kind, message in (
        ("nav5", valset_frame(8)), ("valset", nav5_frame(8)),
        ("nav5", nav5_frame(8)[:-1] + b"\0"),  # a wrong check sum
        ("valset", frame(6, 0x8A, b"\0\1\0\0\x22\0\x11\x20\x08")),  # a key that it does not know
        ("valset", frame(6, 0x8A, b"\0\0\0\0\x21\0\x11\x20\x08")),  # no layer to save it in
    ):
        receiver = Receiver(Silent(), Silent(), kind)
        receiver.take(message)
        expect(receiver.model, 0)
        answer = bytes([receiver.next() for _ in range(receiver.answered)])
        expect(answer[3:4] if answer else b"\0", b"\0")  # UBX-ACK-NAK, or nothing to a wrong check sum
    receiver = Receiver(Silent(), Silent(), "nav5")
    receiver.take(frame(6, 0x24, b"\0\0\x08" + bytes(33)))  # the mask does not name the model
    expect(receiver.model, 0)


CHECKS = {name: function for name, function in globals().items() if name.startswith("check_")}
