# Checks of the downlink, run on CPython and on both MicroPython interpreters by test_drivers_everywhere.py. Each
# takes nothing, and raises if something is not as its name says.

from struct import unpack_from

from onboard.firmware.air_time import AirTime
from onboard.firmware.downlink import DownlinkTask
from protocol.packet import PACKET_FIRST, PACKET_OVERHEAD, PACKET_SYNC, crc16
from protocol.record import Layout
from protocol.table import DEVICES, event_code
from protocol.tick import TICK_PERIOD, tick_add
from receiver_checks import Events, expect

FAILED, RETURNED = event_code("device failed"), event_code("device returned")
DOWNLINK = DEVICES.index("downlink")
LOW, FULL = 30000, 40000  # battery counts


class Port:
    """Takes what is sent, as a machine.UART does, and keeps it with the time of each write."""

    def __init__(self, board):
        self.board = board
        self.bytes = bytearray()
        self.writes = []  # (ms, bytes)
        self.error = None
        self.is_full = False
        self.blocks_ms = 0

    def write(self, buffer, offset, count):
        if self.error:
            raise self.error
        self.board.ms += self.blocks_ms
        if self.is_full:
            return None
        self.bytes.extend(buffer[offset : offset + count])
        self.writes.append((self.board.ms, count))
        return count


class Board:
    def __init__(self, start_tick):
        self.ms = 0
        self.start_tick = start_tick
        self.downlink = Port(self)

    def ticks_ms(self):
        return tick_add(self.start_tick, self.ms)


class Tracker:
    phase = 1


class Battery:
    counts = FULL

    def read_u16(self):
        if self.counts is None:
            raise OSError(110)
        return self.counts


class Settings:
    flight = b"\x5f\x3a\x1c\x22"
    rates = {"manifest": 300000}


class Bench:
    """A DownlinkTask, run by the clock as the scheduler would."""

    def __init__(self, start_tick=0, **wanted):
        settings = Settings()
        settings.downlink = {
            "baud": 1200, "period_s": 10, "landed_s": 5, "low_battery_counts": LOW, "low_battery_s": 60,
            "duty_permille": 200,
        }
        settings.downlink.update(wanted)
        self.board = Board(start_tick)
        self.port = self.board.downlink
        self.events = Events()
        self.battery = Battery()
        self.tracker = Tracker()
        texts = (b"loftbook 1\n" * 20, b"kind 1 manifest\n" * 10, b"end 00000000\n")
        self.task = DownlinkTask(settings, 3, texts, self.tracker, self.battery, self.events, self.board)
        self.text = b"".join(texts)
        self.task.begin(self.board.ticks_ms())
        self._start_ms = self._due_ms = 0
        self._second = -1
        self.fix = Layout("fix")
        self.has_fix = True

    def go_on(self, seconds):
        board, task = self.board, self.task
        end = board.ms + seconds * 1000
        while self._due_ms < end:
            board.ms = max(board.ms, self._due_ms)
            if self.has_fix and board.ms // 1000 != self._second:
                self._second = board.ms // 1000
                self._take_fix()
            task.start = tick_add(board.start_tick, self._start_ms)
            wait = task.step(board.ticks_ms())
            if not wait:
                self._start_ms = max(self._start_ms + task.period, board.ms // task.period * task.period)
                self._due_ms = self._start_ms
            else:
                self._due_ms = board.ms + wait
        board.ms = end

    def skip(self, seconds):
        """Let time go by in which nothing runs."""
        self.board.ms += seconds * 1000
        self._start_ms = self._due_ms = self.board.ms

    def _take_fix(self):
        values = self.fix.values
        for name, value in (
            ("latitude", 235000000 + self._second), ("longitude", 99000000), ("height", 1234567),
            ("quality", 1), ("satellites", 9), ("time_of_day", self._second * 1000),
        ):
            values[self.fix.index(name)] = value
        self.task.take_fix(values, tick_add(self.board.start_tick, self._second * 1000))

    def packets(self):
        """What was sent: list of (number, base tick, [(kind, difference, values)])."""
        found = []
        data = self.port.bytes
        at = 0
        while at < len(data):
            expect(bytes(data[at : at + 2]), PACKET_SYNC)
            _, length, flight, boot, number, tick = unpack_from("<2sBBBHI", data, at)
            expect((flight, boot), (0x5F, 3))
            end = at + PACKET_FIRST + length
            expect(crc16(data, at + 2, end), unpack_from("<H", data, end)[0])
            found.append((number, tick, records(data[at + PACKET_FIRST : end])))
            at = end + 2
        return found

    def sent(self, kind):
        """The records of a kind: list of (tick, values)."""
        return [
            (tick + difference, values)
            for _, tick, items in self.packets() for number, difference, values in items if number == kind
        ]  # fmt: skip

    def times(self, kind):
        """Seconds since the start at which packets with such a record begin."""
        found = []
        written = 0
        at = 0
        starts = []
        for ms, count in self.port.writes:
            starts.append((written, ms))
            written += count
        for _, _, items in self.packets():
            size = PACKET_OVERHEAD + sum([LAYOUTS[k].size for k, _, _ in items])
            if kind in [k for k, _, _ in items]:
                found.append([ms for offset, ms in starts if offset == at][0] // 1000)
            at += size
        return found


LAYOUTS = {Layout(name).number: Layout(name) for name in ("beacon", "fix", "event", "manifest")}
BEACON, FIX, EVENT, MANIFEST = [Layout(name).number for name in ("beacon", "fix", "event", "manifest")]


def records(data):
    found = []
    at = 0
    while at < len(data):
        layout = LAYOUTS[data[at]]
        number, difference = unpack_from("<Bh", data, at)
        found.append((number, difference, list(unpack_from("<" + layout.format[3:], data, at + 3))))
        at += layout.size
    return found


def check_a_beacon_says_where_how_high_how_old_and_how_full():
    bench = Bench()
    bench.go_on(100)
    bench.has_fix = False
    bench.go_on(25)
    # The last fix was of second 99. The first beacon's air time had to be earned for 1.5 s, so this one, ten
    # seconds after another, went out at 121.5 s.
    expect(bench.sent(BEACON)[-1], (121500, [235000099, 99000000, 12345, 22, 1, FULL]))
    kinds = [[kind for kind, _, _ in items] for _, _, items in bench.packets()]
    expect({packet[0] for packet in kinds if BEACON in packet}, {BEACON})  # it comes first


def check_the_same_records_ride_along_and_the_manifest_comes_whole():
    bench = Bench()
    bench.task.take_event([2, 1, 254], 500)
    bench.go_on(200)
    packets = bench.packets()
    expect([number for number, _, _ in packets], list(range(len(packets))))
    expect(bench.sent(EVENT), [(500, [2, 1, 254])])
    fixes = bench.sent(FIX)
    expect(len(fixes) > 15, True)
    for tick, values in fixes:
        expect((tick, values[2]), (values[0] % 1000 * 1000, 1234567))
    pieces = {values[0]: values[2] for _, values in bench.sent(MANIFEST)}
    expect(b"".join([pieces[i] for i in range(len(pieces))])[: len(bench.text)], bench.text)


def check_the_manifest_pauses_between_two_rounds():
    bench = Bench()
    bench.go_on(400)
    times = bench.times(MANIFEST)
    gaps = [b - a for a, b in zip(times, times[1:])]
    expect(300 <= max(gaps) <= 320, True)


def check_events_do_not_wait_for_a_beacon_that_is_far_off():
    bench = Bench(period_s=300)
    bench.go_on(100)
    bench.task.take_event([3, 4, 5], bench.board.ticks_ms())
    bench.go_on(60)
    (event,) = bench.times(EVENT)
    expect(120 <= event <= 122, True)


def check_without_a_fix_the_position_is_missing_and_not_zero():
    bench = Bench()
    bench.has_fix = False
    bench.go_on(60)
    beacons = bench.sent(BEACON)
    expect(len(beacons), 6)
    for _, values in beacons:
        expect(values, [-2147483648, -2147483648, 65535, 65535, 1, FULL])
    bench.fix.clear()
    bench.task.take_fix(bench.fix.values, bench.board.ticks_ms())  # an epoch without a fix is no fix
    bench.go_on(10)
    expect(bench.sent(BEACON)[-1][1][:4], [-2147483648, -2147483648, 65535, 65535])


def check_a_broken_converter_leaves_the_battery_missing_and_the_beacon_going():
    bench = Bench()
    bench.battery.counts = None
    bench.go_on(60)
    expect([values[5] for _, values in bench.sent(BEACON)], [65535] * 6)


def check_a_fix_of_long_ago_stays_old_when_the_ticks_wrap():
    bench = Bench(TICK_PERIOD - 5000, period_s=3600, duty_permille=1000)
    bench.go_on(10)
    bench.has_fix = False
    for _ in range(150):  # 6.25 days
        bench.skip(3598)
        bench.go_on(2)
    ages = [values[3] for _, values in bench.sent(BEACON)]
    expect(ages, sorted(ages))
    expect((ages[0], ages[-1]), (0, 65534))


def check_landing_makes_the_beacons_more_frequent_and_a_low_battery_less():
    bench = Bench(duty_permille=1000)
    bench.go_on(100)
    bench.tracker.phase = 3
    bench.go_on(100)
    bench.battery.counts = LOW - 1
    bench.go_on(300)
    bench.battery.counts = LOW + 10  # not yet enough to trust it again
    bench.go_on(300)
    bench.battery.counts = FULL
    bench.go_on(100)
    times = bench.times(BEACON)
    spaces = [b - a for a, b in zip(times, times[1:])]
    for start, end, space in ((0, 90, 10), (110, 195, 5), (210, 700, 60), (770, 900, 5)):
        found = set([s for t, s in zip(times, spaces) if start <= t and t + s < end])
        expect(found, {space})


def budget_of(bench, share, seconds):
    """Expect no window of one hour with more air time than its share."""
    writes = bench.port.writes
    allowed_us = share * 3600 * 1000
    used = 0
    first = 0
    for ms, count in writes:
        used += count
        while writes[first][0] <= ms - 3600000:
            used -= writes[first][1]
            first += 1
        expect(used * 10000000 // 1200 <= allowed_us, True)
    total_us = sum([count for _, count in writes]) * 10000000 // 1200
    return total_us / (share * seconds * 1000)


def check_the_budget_holds_in_every_hour_and_is_used():
    # 1 % of 1200 baud is 4320 bytes an hour: less than beacons alone every 10 s would take.
    bench = Bench(duty_permille=10)
    bench.go_on(3 * 3600)
    expect(budget_of(bench, 10, 3 * 3600) > 0.9, True)
    times = bench.times(BEACON)
    expect(max([b - a for a, b in zip(times, times[1:])]) < 40, True)  # spread, not in a burst and a silence


def check_the_budget_holds_after_a_pause_too():
    bench = Bench(duty_permille=50, period_s=2)
    bench.go_on(1800)
    bench.battery.counts = LOW - 1
    bench.go_on(1800)
    bench.battery.counts = FULL
    bench.go_on(1800)
    expect(budget_of(bench, 50, 5400) < 1, True)


def check_resets_do_not_add_to_the_budget():
    air = 0
    for _ in range(60):  # a boot a minute
        bench = Bench(duty_permille=10, period_s=1)
        bench.go_on(60)
        air += len(bench.port.bytes) * 10000 // 1200
    expect(0 < air <= 36000, True)


def check_the_smallest_share_of_the_slowest_modem_still_sends():
    bench = Bench(duty_permille=1)
    bench.go_on(3600)
    expect(0 < len(bench.port.bytes) * 10000 // 1200 <= 3600, True)
    expect(AirTime(1200, 1).allows(1), False)


def check_a_port_that_raises_is_told_of_once_and_tried_again():
    bench = Bench()
    bench.go_on(30)
    bench.port.error = OSError(5)
    bench.go_on(100)
    bench.port.error = None
    bench.go_on(60)
    expect(bench.events.noted, [(FAILED, DOWNLINK, 5), (RETURNED, DOWNLINK, bench.events.noted[-1][2])])
    expect(max(bench.times(BEACON)) > 150, True)


def check_a_port_that_is_full_for_ever_is_given_up():
    bench = Bench()
    bench.port.is_full = True
    bench.go_on(60)
    expect(bench.events.noted, [(FAILED, DOWNLINK, 110)])


def check_a_port_that_blocks_is_left_alone_for_a_while():
    bench = Bench()
    bench.port.blocks_ms = 400
    bench.go_on(90)
    expect(bench.events.noted, [(FAILED, DOWNLINK, 110)])
    expect(len(bench.port.writes) <= 3, True)  # one in half a minute


CHECKS = {name: function for name, function in globals().items() if name.startswith("check_")}
