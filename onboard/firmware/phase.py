# The flight phase, from integer heights: of the barometer and of the GNSS receiver.
#
# Each source keeps a track of its own and says which phase it sees; while both live, both must
# agree, and a source that stays alone in its opinion is followed after a minute. A source that stands
# still while the other moves has no opinion: a frozen sensor must neither start nor hide a change.

from protocol.constant import const

# Numbers of protocol/table.py; a test compares them.
WAITING = const(0)
CLIMBING = const(1)
FALLING = const(2)
LANDED = const(3)

_LEAVE_M = const(150)  # a move away from the ground of this size is a flight
_BURST_M = const(100)  # a loss of this size against the greatest height ends the climb
_REGAIN_M = const(200)  # a gain of this size against the least height takes that back
_STILL_M = const(15)  # on the ground, the height stays within this
_STILL_S = const(60)  # for this long
_AGREE_S = const(3)  # an opinion must last this long
_ALONE_S = const(60)  # and this long if the other source does not share it
_JUMP_M = const(300)  # between two readings; nothing under a balloon moves like this
_SILENT_S = const(10)  # a source without a reading for this long has no opinion
_FROZEN_S = const(30)  # nor one that says the same for this long
_FROZEN_M = const(50)  # while the other one moves by more than this
_CREEP_S = const(10)  # while waiting, the ground follows the reading by 1 m in this time (weather)

# Standard atmosphere (ISO 2533): pressure in Pa at geopotential heights 0, 1, 2, ... km. Straight lines
# between them are within 50 m below 20 km: enough to tell up from down.
_PRESSURES = (
    101325, 89875, 79495, 70109, 61640, 54020, 47181, 41061, 35600, 30742, 26436, 22632, 19330, 16510,
    14102, 12045, 10287, 8787, 7505, 6410, 5475, 4678, 4000, 3422, 2930, 2511, 2153, 1847, 1586, 1363,
    1172, 1008, 868, 748, 646, 559, 484, 420, 365, 318, 278,
)


def barometric_height_m(pressure_pa):
    """Height in whole metres at which the standard atmosphere has this pressure (integer Pa)."""
    if pressure_pa >= _PRESSURES[0]:
        return (_PRESSURES[0] - pressure_pa) * 1000 // (_PRESSURES[0] - _PRESSURES[1])
    for km in range(1, len(_PRESSURES)):
        upper = _PRESSURES[km]
        if pressure_pa >= upper:
            return km * 1000 - (pressure_pa - upper) * 1000 // (_PRESSURES[km - 1] - upper)
    return (len(_PRESSURES) - 1) * 1000


class HeightTrack:
    """What one source of heights says about the phase. Fed once a second."""

    def __init__(self):
        self.height = 0
        self.is_alive = False
        self._silent = 0
        self._ground = 0
        self._creep = 0
        self._highest = 0
        self._lowest = 0
        self._anchor = 0
        self._still = 0
        self._entered = 0  # height at which the phase began
        self._same = 0  # seconds since the reading last differed from the one before
        self._other = 0  # what the other source said then

    def feed(self, height):
        """Take a height in whole metres, or None if there is no reading.

        A jump is not taken: one wild reading would stay the greatest or the least height. If the height stays there,
        the track begins anew after _SILENT_S.
        """
        if height is None or self.is_alive and abs(height - self.height) > _JUMP_M:
            self._silent += 1
            if self._silent >= _SILENT_S:
                self.is_alive = False
            return
        self._silent = 0
        self._same = self._same + 1 if height == self.height else 0
        self.height = height
        if not self.is_alive:
            self.is_alive = True
            self._ground = height
            self.enter()
        self._highest = max(self._highest, height)
        self._lowest = min(self._lowest, height)
        if abs(height - self._anchor) > _STILL_M:
            self._anchor = height
            self._still = 0
        else:
            self._still += 1

    def enter(self):
        """Begin a new phase: greatest and least height count from here."""
        self._highest = self.height
        self._lowest = self.height
        self._anchor = self.height
        self._still = 0
        self._entered = self.height

    def is_frozen(self, other):
        """True if the reading stands still while the other track moves. Ask once a second, after feed."""
        if self._same == 0 or not other.is_alive:
            self._other = other.height
        return self._same >= _FROZEN_S and abs(other.height - self._other) > _FROZEN_M

    def opinion(self, phase):
        """The phase that this source sees, given the present one."""
        if phase == WAITING:
            self._follow_ground()
            return self._moved_from(self._ground, phase)
        if phase == CLIMBING:
            return FALLING if self._highest - self.height >= _BURST_M else phase
        if phase == FALLING:
            if self.height - self._lowest >= _REGAIN_M:
                return CLIMBING
            return LANDED if self._still >= _STILL_S else phase
        return self._moved_from(self._entered, phase)

    def _moved_from(self, reference, phase):
        if self.height - reference >= _LEAVE_M:
            return CLIMBING
        if reference - self.height >= _LEAVE_M:
            return FALLING
        return phase

    def _follow_ground(self):
        self._creep += 1
        if self._creep >= _CREEP_S:
            self._creep = 0
            if self.height > self._ground:
                self._ground += 1
            elif self.height < self._ground:
                self._ground -= 1


class PhaseTracker:
    """Decides the flight phase from two height tracks. Step it once a second."""

    def __init__(self, phase):
        self.phase = phase
        self.barometer = HeightTrack()
        self.gnss = HeightTrack()
        self._proposal = phase
        self._lasting = 0
        self._needed = _AGREE_S  # how long the present proposal must last

    def step(self, barometer_height, gnss_height):
        """Take both heights (whole metres or None). Returns True if the phase changed."""
        self.barometer.feed(barometer_height)
        self.gnss.feed(gnss_height)
        proposal = self._propose()
        if proposal == self.phase:
            self._lasting = 0
            return False
        if proposal != self._proposal:
            self._proposal = proposal
            self._lasting = 0
        self._lasting += 1
        if self._lasting < self._needed:
            return False
        self.phase = proposal
        self._lasting = 0
        self.barometer.enter()
        self.gnss.enter()
        return True

    def height(self):
        """The height that decides: of the GNSS receiver while it lives."""
        return self.gnss.height if self.gnss.is_alive else self.barometer.height

    def _propose(self):
        phase = self.phase
        by_barometer = self._opinion(self.barometer, self.gnss)
        by_gnss = self._opinion(self.gnss, self.barometer)
        self._needed = _AGREE_S
        if by_barometer is None:
            return phase if by_gnss is None else by_gnss
        if by_gnss is None or by_gnss == by_barometer:
            return by_barometer
        self._needed = _ALONE_S
        return by_barometer if by_barometer != phase else by_gnss

    def _opinion(self, track, other):
        if not track.is_alive or track.is_frozen(other):
            return None
        return track.opinion(self.phase)
