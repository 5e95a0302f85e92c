# The downlink: packets over a modem on a UART, within a budget of air time.
#
# First comes the beacon, the little that finds a payload. What the budget leaves goes to the latest fix, to
# events, and to the manifest, piece by piece, so that a listener who comes late can decode it all.

from onboard.firmware.air_time import AirTime
from onboard.firmware.phase import LANDED
from onboard.firmware.scheduler import Task
from onboard.firmware.tasks import read_adc
from onboard.firmware.transmitter import Transmitter
from protocol.constant import const
from protocol.manifest import Pieces
from protocol.packet import PACKET_OVERHEAD, PacketBuilder
from protocol.record import DIFFERENCE_MAX, Layout
from protocol.tick import tick_difference

_POLL_MS = const(500)
_EVENTS = const(4)  # that may wait
_EVENT_WAIT_MS = const(20000)  # an event does not wait longer for the next beacon
_PIECES = const(2)  # of the manifest in a packet: a longer one would be lost more often
_AGE_MAX_S = const(65534)



class DownlinkTask(Task):
    """Sends packets while it lets the logger go on.

    settings: a Settings with a downlink; boot: number; texts: of the manifest; tracker: has the phase;
    battery: an ADC, or None; events: an EventLog; board: see Logger, its downlink has
    write(buffer, offset, count) -> bytes taken or None, as a machine.UART has.
    """

    is_sampling = False

    def __init__(self, settings, boot, texts, tracker, battery, events, board):
        Task.__init__(self, _POLL_MS)
        wanted = settings.downlink
        self._flight = settings.flight
        self._boot = boot
        self._tracker = tracker
        self._battery = battery
        self._period_ms = wanted["period_s"] * 1000
        self._landed_ms = wanted["landed_s"] * 1000
        self._low_ms = wanted["low_battery_s"] * 1000
        self._low_counts = wanted["low_battery_counts"]
        self._is_low = False
        self._air = AirTime(wanted["baud"], wanted["duty_permille"])
        self._packet = PacketBuilder()
        self._number = 0
        self._transmitter = Transmitter(board, self._packet.buffer, self._air.byte_us, events)
        self._beacon_at = None  # tick of the last beacon
        self._make_beacon()
        self._make_events()
        self._manifest = Layout("manifest")
        self._pieces = Pieces(self._manifest, "text", *texts)
        self._pieces.restart()
        self._repeat_ms = settings.rates["manifest"]  # pause between two rounds of it
        self._told_at = None  # tick at which the manifest was told to its end
        self._may_tell = False  # one packet of it after each beacon

    def _make_beacon(self):
        beacon = self._beacon = Layout("beacon")
        fix = self._fix = Layout("fix")
        self._place = [(beacon.index(name), fix.index(name)) for name in ("latitude", "longitude")]
        self._height = beacon.index("height")
        self._age = beacon.index("fix_age")
        self._phase = beacon.index("phase")
        self._battery_counts = beacon.index("battery_counts")
        self._fix_height = fix.index("height")
        self._metre = fix.divisor("height")
        self._fix_tick = 0  # of the latest fix record
        self._is_new = False  # that record was not sent yet
        self._position_tick = None  # of the latest with a position
        self._bare = beacon.size + PACKET_OVERHEAD  # a packet of nothing but the beacon

    def _make_events(self):
        self._event = Layout("event")
        self._events = [[0, 0, 0, 0] for _ in range(_EVENTS)]  # code, subject, detail, tick
        self._oldest = 0
        self._waiting = 0

    def take_fix(self, values, tick):
        """Remember the latest fix record (the values of its layout)."""
        fix = self._fix
        for i in range(len(values)):
            fix.values[i] = values[i]
        self._fix_tick = tick
        self._is_new = True
        beacon = self._beacon.values
        _, latitude = self._place[0]
        if values[latitude] == fix.missing[latitude]:
            return
        for here, there in self._place:
            beacon[here] = values[there]
        height = values[self._fix_height]
        if height == fix.missing[self._fix_height]:
            beacon[self._height] = self._beacon.missing[self._height]
        else:
            beacon[self._height] = max(0, min(height // self._metre, 65534))
        self._position_tick = tick
        beacon[self._age] = 0

    def take_event(self, values, tick):
        """Remember an event record; the oldest that waits is given up for it."""
        if self._waiting == _EVENTS:
            self._drop_event()
        event = self._events[(self._oldest + self._waiting) % _EVENTS]
        for i in range(3):
            event[i] = values[i]
        event[3] = tick
        self._waiting += 1

    def _drop_event(self):
        self._oldest = (self._oldest + 1) % _EVENTS
        self._waiting -= 1

    def step(self, now):
        air = self._air
        air.go_on(now)
        transmitter = self._transmitter
        if transmitter.size:
            return transmitter.go_on(now)
        if not transmitter.is_ready(now):
            return 0
        packet = self._packet
        packet.used = 0
        if self._is_due():
            if not air.allows(self._bare):
                return 0
            self._fill_beacon(now)
        elif self._waiting and tick_difference(now, self._events[self._oldest][3]) > _EVENT_WAIT_MS:
            self._fill_events(now)
        elif self._may_tell:
            self._fill_manifest(now)
        if not packet.used:
            return 0
        transmitter.size = packet.close(self._flight, self._boot, self._number)
        self._number = self._number + 1 & 0xFFFF
        air.take(transmitter.size)
        return transmitter.go_on(now)

    def _is_due(self):
        if self._is_low:  # whatever the phase: a battery that lasts finds more than beacons that hurry
            period = self._low_ms
        else:
            period = self._landed_ms if self._tracker.phase == LANDED else self._period_ms
        return self._beacon_at is None or tick_difference(self.start, self._beacon_at) >= period

    def _has_room(self, layout, tick, reserve):
        # Whether a record may go into the packet, and leaves so many bytes of air time for what matters more.
        packet = self._packet
        size = PACKET_OVERHEAD + packet.used + layout.size
        return packet.fits(layout, tick) and self._air.allows(size + reserve)

    def _fill_beacon(self, now):
        self._beacon_at = self.start
        self._look(now)
        packet = self._packet
        packet.open(now)
        packet.add(self._beacon, now)
        if self._is_new and self._has_room(self._fix, self._fix_tick, self._bare):
            packet.add(self._fix, self._fix_tick)
        self._is_new = False
        self._add_events(now)
        if not self._pieces.pending() and tick_difference(now, self._told_at) >= self._repeat_ms:
            self._pieces.restart()
        self._may_tell = self._pieces.pending() and not self._is_low

    def _look(self, now):
        # Bring the beacon's values up to date.
        beacon = self._beacon
        values = beacon.values
        if self._position_tick is not None and values[self._age] != _AGE_MAX_S:  # once too old, always so
            values[self._age] = min(max(tick_difference(now, self._position_tick), 0) // 1000, _AGE_MAX_S)
        values[self._phase] = self._tracker.phase
        read_adc(self._battery, beacon, self._battery_counts)
        counts = values[self._battery_counts]
        if counts == beacon.missing[self._battery_counts]:
            return
        if counts < self._low_counts:
            self._is_low = True
        elif counts >= self._low_counts + (self._low_counts >> 5):  # not to and fro at the limit
            self._is_low = False

    def _fill_events(self, now):
        self._packet.open(now)
        self._add_events(now)

    def _add_events(self, now):
        layout = self._event
        while self._waiting:
            event = self._events[self._oldest]
            tick = event[3]
            if tick_difference(now, tick) <= DIFFERENCE_MAX:
                if not self._has_room(layout, tick, self._bare):
                    return
                for i in range(3):
                    layout.values[i] = event[i]
                self._packet.add(layout, tick)
            self._drop_event()  # sent, or too old: the card has it

    def _fill_manifest(self, now):
        self._packet.open(now)
        pieces = self._pieces
        for _ in range(_PIECES):
            if not pieces.pending() or not self._has_room(self._manifest, now, self._bare + self._fix.size):
                break
            pieces.fill()
            self._packet.add(self._manifest, now)
            self._may_tell = False
        if not pieces.pending():
            self._told_at = now
