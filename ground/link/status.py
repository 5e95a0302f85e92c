"""The line that `loftbook follow` prints every second."""

from math import isfinite

from ground.units import feet
from protocol.table import PHASES

STALE_S = 10  # what is older is told as the past, not as the present
SILENCE_S = 5
PATIENCE = 1.5  # of a payload that speaks in beacons: so many of its pauses are no silence
_DAY_S = 86_400
_NO_VERDICT = "silence alone does not mean that the payload has failed"


def status_line(live, now_s, silent_s, packets, not_understood, noise):
    """Say in a line what is known now.

    live: Live. now_s: the listener's clock. silent_s: seconds since the last good packet, or since the start.
    packets: good packets so far. not_understood: bytes so far that belong to no packet.
    noise: whether bytes came during the silence.
    """
    if silent_s >= max(SILENCE_S, PATIENCE * live.beacon_s):
        parts = [f"no packet for {silent_s:.0f} s, only noise" if noise else f"silence for {silent_s:.0f} s"]
        parts += [_NO_VERDICT]
        parts += [_past_fix(live.fix, now_s)] if live.fix else []
    elif packets == 0:
        parts = ["listening, nothing heard yet"]
    else:
        parts = [_present(live, now_s)]
    return "; ".join(parts + [f"{packets} packets good, {not_understood} bytes not understood"])


def _present(live, now_s):
    phase = "phase not heard yet" if live.phase is None else _phase(live.phase)
    fix = live.fix
    stale_s = max(STALE_S, PATIENCE * live.beacon_s)
    readings = _reading("outside", live.outside_degc, ".1f", "degC", now_s, STALE_S)
    readings += _reading("battery", live.battery_v, ".2f", "V", now_s, stale_s)
    if fix and now_s - fix.heard_s < stale_s:
        parts = [_utc(fix), phase, _height("height", fix.height_m), *_rate(live.fix_trend)]
        parts += [f"at {_position(fix)}", f"fix {_age(fix, now_s)} s old"]
        return ", ".join(parts + readings)
    parts = [f"no fix, {phase}"]
    pressure = live.pressure_height_m
    if pressure and now_s - pressure.heard_s < STALE_S and isfinite(pressure.value):
        parts += [_height("pressure height", pressure.value), *_rate(live.pressure_trend)]
    else:
        parts += ["height not known"]
    line = ", ".join(parts + readings)
    return f"{line}; {_past_fix(fix, now_s)}" if fix else line


def _past_fix(fix, now_s):
    when = f"last fix {_utc(fix)}, {_age(fix, now_s)} s ago"
    return ", ".join([when, _height("height", fix.height_m), f"at {_position(fix)}"])


def _age(fix, now_s):
    return round(now_s - fix.heard_s)


def _phase(number):
    return PHASES[number] if 0 <= number < len(PHASES) else f"phase {number}"


def _utc(fix):
    if not isfinite(fix.utc_s):
        return "UTC not known"
    seconds = int(fix.utc_s)
    minutes = min(seconds, _DAY_S - 1) // 60  # a leap second is the 61st of the day's last minute
    return f"{minutes // 60:02}:{minutes % 60:02}:{seconds - 60 * minutes:02} UTC"


def _height(word, height_m):
    if not isfinite(height_m):
        return f"{word} not known"
    return f"{word} {height_m:.0f} m ({feet(height_m):.0f} ft)"


def _rate(trend):
    rate_m_s = trend.rate_m_s()
    return [] if rate_m_s is None else [f"climb rate {rate_m_s:+.1f} m/s"]


def _position(fix):
    north = "N" if fix.latitude_deg >= 0 else "S"
    east = "E" if fix.longitude_deg >= 0 else "W"
    return f"{abs(fix.latitude_deg):.5f} {north} {abs(fix.longitude_deg):.5f} {east}"


def _reading(word, reading, form, unit, now_s, stale_s):
    if not reading or now_s - reading.heard_s >= stale_s or not isfinite(reading.value):
        return []
    return [f"{word} {reading.value:{form}} {unit}"]
