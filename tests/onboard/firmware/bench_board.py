# A board as small as can be, for tests of the logger's own memory: every device answers with numbers that
# change, the card is a computed FAT16 volume that remembers the last block of records only and shows it wherever
# one was written: enough for the parity to have members. Runs on MicroPython and CPython.
#
# bench_run.py runs it.

from protocol.constant import const

_FIRST_SECTOR = const(97)  # of the log
_LOG_SECTORS = const(60000)


class Card:
    # One FAT (sectors 1 to 64), a root directory (65 to 96), clusters of eight sectors, the log from cluster 2.

    def __init__(self):
        self.writes = 0
        self.last = bytearray(512)

    def readblocks(self, number, buffer):
        written = _FIRST_SECTOR <= number < _FIRST_SECTOR + self.writes
        for i in range(512):
            buffer[i] = self.last[i] if written else 0
        if number == 0:
            for offset, value in ((0, 0xEB), (11, 0), (12, 2), (13, 8), (14, 1), (16, 1), (18, 2),
                                  (22, 64), (33, 0), (34, 1), (510, 0x55), (511, 0xAA)):
                buffer[offset] = value
            buffer[32] = 0
            buffer[33] = 0xF0
            buffer[34] = 0
        elif number < 65:
            for entry in range(256):
                following = (number - 1) * 256 + entry + 1
                buffer[2 * entry] = following & 0xFF
                buffer[2 * entry + 1] = following >> 8
        elif number == 65:
            for i in range(11):
                buffer[i] = b"LOFTBOOKLOG"[i]
            buffer[26] = 2
            size = _LOG_SECTORS * 512
            for i in range(4):
                buffer[28 + i] = size >> 8 * i & 0xFF

    def writeblocks(self, number, buffer):
        self.writes += 1
        if buffer[5] & 1:
            return  # a parity block is no member
        for i in range(512):
            self.last[i] = buffer[i]


class Bus:
    def __init__(self, board):
        self._board = board

    def writeto(self, address, buffer):
        pass

    def writeto_mem(self, address, register, buffer):
        pass

    def readfrom_into(self, address, buffer):
        for i in range(6):  # the humidity chip's words with their check sums (data sheet: 0xBEEF has 0x92)
            buffer[i] = b"\xbe\xef\x92\xbe\xef\x92"[i]

    def readfrom_mem_into(self, address, register, buffer):
        tick = self._board.ticks_ms()
        for i in range(len(buffer)):
            buffer[i] = tick >> i & 0x7F | 1
        if register == 0x75:
            buffer[0] = 0x68
        if register >= 0xA0:
            for i in range(2):
                buffer[i] = prom[register - 0xA0 + i]


prom = b"\x00\x00\x9c\xbf\x90\x3c\x5b\x15\x5a\xf2\x82\xb8\x6e\x98\x00\x00"  # CRC-4 in the last digit


class Line:
    text = (b"$GNRMC,123519.00,A,4807.03812,N,16731.00012,E,022.412,084.41,230325,,,A*", b"$GNGGA,123519.00,4807"
            b".03812,N,16731.00012,E,1,08,0.91,30545.4,M,46.9,M,,*")

    def __init__(self, board):
        self._board = board
        self._texts = [bytearray(text + b"00\r\n") for text in self.text]
        self._number = 0
        self._at = 0
        self._line = 2

    def begin(self):
        self._line = 0
        self._at = 0
        for line in self._texts:
            line[12] = 0x30 + self._number % 10  # the seconds' units, so that epochs differ
            total = 0
            for i in range(1, len(line) - 5):
                total ^= line[i]
            for i in range(2):
                digit = total >> 4 * (1 - i) & 15
                line[len(line) - 4 + i] = 0x30 + digit if digit < 10 else 0x37 + digit

    def any(self):
        second = self._board.ticks_ms() // 1000
        if second != self._number:
            self._number = second
            self.begin()
        return 40 if self._line < 2 else 0

    def readinto(self, buffer, count):
        if self._line == 2:
            return 0
        line = self._texts[self._line]
        count = min(count, len(line) - self._at)
        for i in range(count):
            buffer[i] = line[self._at + i]
        self._at += count
        if self._at == len(line):
            self._line += 1
            self._at = 0
        return count


class Board:
    reset_cause = 1

    def __init__(self):
        self._tick = 0
        self.card = Card()
        self.i2c = Bus(self)
        self.uart = Line(self)

    def adc(self, role):
        return self

    def read_u16(self):
        return self._tick & 0xFFFF

    def ticks_ms(self):
        return self._tick

    def idle(self, milliseconds):
        self._tick += milliseconds

    def is_ground_test(self):
        return False

    def free_heap(self):
        return 0


SETTINGS = """{"payload": "Napraforgo-1", "flight": "5f3a1c22", "baud": 9600, "parity": [16, 10],
"rates": {"pressure": 200, "air": 1000, "motion": 100, "power": 5000, "health": 10000, "manifest": 300000},
"sensors": {"barometer": ["ms5611"], "outside_temperature": ["pt1000_divider", 1000], "humidity": ["sht3x"],
"motion": ["mpu6050", 16, 2000], "board_temperature": ["mpu6050"], "battery": ["adc_divider", 3300, 3000],
"rail": ["adc_divider", 3300, 2000], "gnss": ["nmea"]}}"""


def run(logger, board, seconds):
    end = board.ticks_ms() + 1000 * seconds
    while board.ticks_ms() < end:
        logger.step()


def run_locked(logger, board, seconds):
    import micropython

    end = board.ticks_ms() + 1000 * seconds
    while board.ticks_ms() < end:
        micropython.heap_lock()
        logger.step()
        micropython.heap_unlock()
