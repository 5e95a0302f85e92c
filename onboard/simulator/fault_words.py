"""Faults in words, as a team orders them: KIND TARGET FROM TO [NUMBER].

FROM and TO are seconds since launch, or a moment of the flight and seconds after or before it: power-on+30, launch,
climb+600, burst-60, fall+30, landing, end.
"""

import re
from dataclasses import dataclass

import numpy as np

from onboard.simulator.world.sensors import inside_temperature_k

CHIPS = ("barometer", "outside_temperature", "humidity", "motion")
INPUTS = ("battery", "rail")
_CRYSTAL_BEST_K = 298.15
_DRIFT_PERIOD_MS = 30_000
_SECONDS = r"\d{1,6}(\.\d{1,3})?"
_TIME = re.compile(rf"(?P<word>[a-z][a-z-]*[a-z])?(?P<seconds>(?(word)[+-]){_SECONDS}|-{_SECONDS})?")
_GREATEST_NUMBER = 1_000_000


class FaultError(ValueError):
    """A fault that cannot be ordered; the message says which, why, and what is possible."""


@dataclass(frozen=True)
class Kind:
    """A kind of fault: what it can befall, its number if none is given, the number's meaning ("" if it has
    none; {unit} and {answers} depend on the target) and least value, and what it does, in words."""

    targets: tuple
    number: int
    meaning: str
    least: int
    words: str

    def meaning_for(self, target=None):
        """What the number means, for a target or, without one, for all of them."""
        unit = "counts, mV at battery and rail" if target is None else "mV" if target in INPUTS else "counts"
        answers = {None: "answers, bits or characters", "gnss": "characters", "probes": "bits"}.get(target, "answers")
        return self.meaning.format(unit=unit, answers=answers)


_SENSED = (*CHIPS, *INPUTS, "probes")
KINDS = {
    "silent": Kind((*_SENSED, "bus", "gnss", "downlink"), 0, "", 0, "does not answer"),
    "stuck": Kind(("bus", "probes"), 50, "ms for each attempt", 1, "is held down, so that nothing gets through"),
    "garbled": Kind(
        (*CHIPS, "probes", "gnss"), 50, "of a thousand {answers} are wrong", 1, "comes through with errors"
    ),
    "babbling": Kind(("gnss",), 0, "", 0, "sends nothing but noise, without a pause"),
    "nofix": Kind(("gnss",), 0, "", 0, "sees no satellites"),
    "frozen": Kind((*_SENSED, "gnss"), 0, "", 0, "says the same all the time"),
    "zeros": Kind((*CHIPS, *INPUTS), 0, "", 0, "says all zeros"),
    "ones": Kind((*CHIPS, *INPUTS), 0, "", 0, "says all ones"),
    "noisy": Kind(_SENSED, 500, "{unit} of noise", 1, "is noisy"),
    "shifted": Kind(_SENSED, -500, "{unit}", -_GREATEST_NUMBER, "is beside the truth"),
    "slow": Kind(("card",), 100, "ms more for each write", 1, "is slow"),
    "stalling": Kind(("card",), 300, "ms at every sixteenth write", 1, "pauses now and then"),
    "refusing": Kind(("card",), 1000, "of a thousand writes fail", 1, "refuses writes"),
    "read-only": Kind(("card",), 0, "", 0, "is locked against writing"),
    "pulled": Kind(("card",), 0, "", 0, "is out of its holder"),
    "full": Kind(("card",), 0, "", 0, "is full from about then on"),
    "damaged": Kind(("card",), 0, "", 0, "loses what cards lose: torn write, flipped bits, wiped sectors, tables"),
    "reset": Kind(("board",), 1, "is the reset cause afterwards", 1, "has no supply, and boots again"),
    "drift": Kind(("clock",), 50, "ppm fast", -1000, "runs at another rate"),
    "cooling": Kind(("clock",), 34, "thousandths of a ppm/K2 beside 25 degC", 1, "follows the cold"),
    "tight": Kind(("memory",), 16000, "bytes are left", 12000, "is short"),
}  # fmt: skip
ON_DESKTOP = ("full", "damaged")  # made before or after the flight, not on the board
_NO_END = ("full", "damaged")


@dataclass(frozen=True)
class Fault:
    """A fault with its times on the tape."""

    kind: str
    target: str
    start_ms: int
    stop_ms: int
    number: int

    def words(self):
        """What it does, without when."""
        kind = KINDS[self.kind]
        number = f" ({self.number} {kind.meaning_for(self.target)})" if kind.meaning else ""
        target = {"gnss": "GNSS receiver", "bus": "I2C bus", "probes": "1-Wire bus"}.get(self.target, self.target)
        return f"{target.replace('_', ' ')} {kind.words}{number}"


def read_fault(text, truth, targets):
    """Read one order.

    text: as in the head of this file. truth: the flight's Truth. targets: those that the payload has.
    Returns a Fault. Raises FaultError.
    """
    parts = text.split()
    if not 4 <= len(parts) <= 5:
        raise FaultError(
            f"fault {text!r} must be KIND TARGET FROM TO [NUMBER], such as 'silent barometer climb+600 burst-60'"
        )
    kind = KINDS.get(parts[0])
    if kind is None:
        raise FaultError(f"fault {text!r}: there is no kind {parts[0]!r}; choose one of {', '.join(KINDS)}")
    possible = [target for target in kind.targets if target in targets]
    if parts[1] not in possible:
        raise FaultError(
            f"fault {text!r}: {parts[0]} cannot befall {parts[1]!r} on this payload; "
            + (f"choose one of {', '.join(possible)}" if possible else "choose another kind")
        )
    start_ms, stop_ms = (_time_ms(part, truth, text) for part in parts[2:4])
    end_ms = int(truth.time_s[-1] * 1000)
    if parts[0] not in _NO_END and not start_ms < stop_ms:
        raise FaultError(f"fault {text!r}: ends before it begins; FROM must come before TO")
    if not 0 <= start_ms <= end_ms:
        launch_s, last_s = -truth.release.time_s, truth.time_s[-1] - truth.release.time_s
        raise FaultError(f"fault {text!r}: begins outside the flight, which is from {launch_s:.0f} to {last_s:.0f} s")
    return Fault(parts[0], parts[1], start_ms, min(stop_ms, end_ms), _number(parts, kind, text))


def _time_ms(part, truth, text):
    ended = truth.burst or truth.climb_end  # of a balloon that never burst, the top or the cut
    moments = {
        "power-on": 0.0, "launch": truth.release.time_s, "climb": truth.release.time_s, "burst": ended.time_s,
        "fall": ended.time_s, "landing": truth.landing.time_s, "end": float(truth.time_s[-1]),
    }  # fmt: skip
    found = _TIME.fullmatch(part)
    if not found or not part or (found["word"] or "launch") not in moments:
        raise FaultError(
            f"fault {text!r}: {part!r} is no time; give seconds since launch, or {', '.join(moments)}, "
            "with seconds such as +60 or -60 behind it"
        )
    return round(1000 * (moments[found["word"] or "launch"] + float(found["seconds"] or 0)))


def _number(parts, kind, text):
    if len(parts) < 5:
        return kind.number
    if not kind.meaning:
        raise FaultError(f"fault {text!r}: {parts[0]} takes no number; leave {parts[4]!r} out")
    if not re.fullmatch(r"-?\d{1,7}", parts[4]) or not kind.least <= int(parts[4]) <= _GREATEST_NUMBER:
        raise FaultError(
            f"fault {text!r}: NUMBER must be a whole number from {kind.least} to {_GREATEST_NUMBER}: "
            + kind.meaning_for(parts[1])
        )
    return int(parts[4])


def targets_of(mission):
    """What faults can befall on a payload: a set of targets."""
    found = {"bus", "card", "board", "clock", "memory", "gnss", *INPUTS}
    found.update(role for role in CHIPS if getattr(mission, role).chip not in ("none", "ds18b20"))
    if mission.downlink:
        found.add("downlink")
    if mission.outside_temperature.chip == "ds18b20" or mission.probes:
        found.add("probes")
    return found


def schedule(faults, mission, truth):
    """The rows that board.json takes: what simulator/board/faults.py reads, in the units of its streams."""
    rows = []
    for fault in faults:
        if fault.kind == "cooling":
            rows += _cooling(fault, truth)
        elif fault.kind not in ON_DESKTOP:
            number = fault.number
            if fault.kind in ("noisy", "shifted"):
                number = _stream_units(fault, mission)
            rows.append([fault.kind, fault.target, fault.start_ms, fault.stop_ms, number])
    return rows


def _stream_units(fault, mission):
    battery = mission.battery
    divider = {"battery": battery.divider_ratio, "rail": 2.0}.get(fault.target)
    if divider:
        return round(fault.number / divider / battery.reference_mv * 2**20)
    if fault.target == "outside_temperature" and mission.outside_temperature.chip.endswith("_divider"):
        return fault.number * 16  # counts of 16 bits
    return fault.number


def _cooling(fault, truth):
    # A tuning-fork crystal slows down by about 0.034 ppm/K2 on both sides of 25 degC (data sheets of 32.768 kHz
    # crystals, from memory).
    inside_k = inside_temperature_k(truth)
    rows = []
    for start_ms in range(fault.start_ms, fault.stop_ms, _DRIFT_PERIOD_MS):
        kelvin = float(np.interp(start_ms / 1000, truth.time_s, inside_k))
        ppm = -round(fault.number / 1000 * (kelvin - _CRYSTAL_BEST_K) ** 2)
        stop_ms = min(start_ms + _DRIFT_PERIOD_MS, fault.stop_ms)
        if rows and rows[-1][4] == ppm:
            rows[-1][3] = stop_ms
        else:
            rows.append(["drift", "clock", start_ms, stop_ms, ppm])
    return rows
