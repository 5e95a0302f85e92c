"""What must be true of the log of a flight that lasted for days."""

from dataclasses import dataclass

import numpy as np

from ground.decode import decode_flight, group_boots
from ground.recover import recover_source
from tools.campaign.endurance_tape import Plan

DAY_MS = 86_400_000
UTC_MAX_MS = 1500.0  # a leap second moves UTC by one second against the board's clock, and a fix comes late
GAP_MAX_MS = 1000  # the longest that the fastest sensor may leave out
FASTEST_MS = 100
PIECE_PAUSE_MS = 60  # a packet goes to the modem in pieces
HOUR_MS = 3_600_000
PHASES_A_PERIOD = 3  # climbing, falling, landed
SWITCHINGS_A_PERIOD = 4  # of two switches, on and off
CHATTER = ("booted", "phase changed", "switch changed")  # events of a flight in which nothing fails


@dataclass
class Verdict:
    """hours: of the flight; records: in all; utc_error_ms: the largest; phases: changes of them; failures: in
    words.
    """

    hours: float
    records: int
    blocks: int
    gap_ms: int
    utc_error_ms: float
    phases: int
    failures: list


def judge(path, plan, period_s, start_tick, drift_ppm):
    """Verdict on a card image. plan: dict of a Plan; period_s: of the tape; start_tick: the board's at
    power-on.
    """
    plan = Plan(plan)
    recovered = recover_source(path)
    failures = []
    if [boot.boot for boot in recovered.boots] != [1]:
        failures.append(f"boots {[boot.boot for boot in recovered.boots]} where there was one")
    if recovered.ledger.losses:
        failures.append(f"{len(recovered.ledger.losses)} losses")
    [boot] = recovered.boots[:1] or [None]
    if boot is None:
        return Verdict(0, 0, 0, 0, 0.0, 0, ["nothing came back"])
    flight = decode_flight(next(iter(group_boots(recovered.boots).values())))
    tick_ms = boot.records["motion"].tick_ms
    gap_ms = int(np.diff(tick_ms).max())
    if gap_ms > GAP_MAX_MS or tick_ms[-1] - tick_ms[0] < plan.length_ms - 2 * GAP_MAX_MS:
        failures.append(f"a gap of {gap_ms} ms, from {tick_ms[0]} to {tick_ms[-1]}")
    expected = round(plan.length_ms * (1 + drift_ppm * 1e-6)) // FASTEST_MS  # a fast clock asks more often
    if not 0.98 * expected <= len(tick_ms) <= expected + 1:
        failures.append(f"{len(tick_ms)} samples where {expected} were due")
    worst = _utc_error_ms(flight, plan, start_tick, drift_ppm)
    if not worst <= UTC_MAX_MS:
        failures.append(f"UTC is wrong by up to {worst:.0f} ms")
    utc = flight.tables["motion"].columns["utc"]
    if (np.diff(utc) <= np.timedelta64(0)).any():
        failures.append("UTC goes back or stands still")
    events = flight.tables["event"].columns
    strange = sorted(set(events["event"]) - set(CHATTER))
    if strange or "text" in flight.tables:
        messages = list(flight.tables["text"].columns["message"][:3]) if "text" in flight.tables else []
        failures.append(f"the log tells of {strange} {messages}")
    phases = int((events["event"] == "phase changed").sum()) - 1
    flown = plan.length_ms // 1000 // period_s
    if phases < PHASES_A_PERIOD * flown:
        failures.append(f"{phases} changes of phase in {flown} flights")
    switchings = int((events["event"] == "switch changed").sum())
    if switchings < SWITCHINGS_A_PERIOD * (flown - 1):
        failures.append(f"{switchings} changes of switches in {flown} flights")
    records = sum(len(kind.tick_ms) for kind in boot.records.values())
    hours = (tick_ms[-1] - tick_ms[0]) / 3_600_000
    return Verdict(hours, records, boot.envelopes_found, gap_ms, worst, phases, failures)


def _utc_error_ms(flight, plan, start_tick, drift_ppm):
    # Against the plan: UTC counts the leap second, a line cannot.
    table = flight.tables["motion"].columns
    since_ms = (table["tick_ms"] - start_tick) * (1 - drift_ppm * 1e-6)
    true_ms = plan.start_day * DAY_MS + plan.start_s * 1000 + since_ms
    if plan.leap_s >= 0:
        true_ms = np.where(since_ms >= plan.leap_s * 1000, true_ms - 1000, true_ms)
    if np.isnat(table["utc"]).any():
        return np.inf
    return float(np.abs(table["utc"].astype("datetime64[ms]").astype(np.int64) - true_ms).max())


def heap_faults(held):
    """What is wrong with the heap, in words. held: (world ms, bytes) after a collection each, in order."""
    settled = [size for _, size in held[len(held) // 4:]]
    spread = max(settled) - min(settled)
    return [f"the heap moves by {spread} bytes after it has settled"] if spread > 256 else []


def read_downlink(path, baud):
    """[(world ms at which a packet begins, ms that it is on the air)]; pieces that follow each other are one
    packet.
    """
    packets = []
    for line in path.read_text("utf-8").splitlines():
        begin, _, count = map(int, line.split())
        long_ms = count * 10_000 / baud
        if packets and begin - sum(packets[-1]) < PIECE_PAUSE_MS:
            packets[-1] = packets[-1][0], begin + long_ms - packets[-1][0]
        else:
            packets.append((begin, long_ms))
    return packets


def downlink_faults(packets, downlink, length_ms):
    """What is wrong with what was sent: too much in an hour, or a silence. downlink: the mission's Downlink.
    """
    begin, long_ms = np.array(packets or [(0, 0.0)], float).T
    total = np.concatenate([[0.0], np.cumsum(long_ms)])
    until = np.searchsorted(begin, begin + HOUR_MS)
    share = float((total[until] - total[:-1]).max()) / min(HOUR_MS, length_ms)
    faults = []
    if share * 100 > downlink.duty_percent:
        faults.append(f"{share * 100:.2f} % of an hour on the air, where {downlink.duty_percent} are allowed")
    longest_s = max(downlink.period_s, downlink.landed_period_s, downlink.low_battery_period_s)
    silence_s = np.diff(np.concatenate([[0.0], begin, [length_ms]])).max() / 1000
    if silence_s > 1.5 * longest_s:
        faults.append(f"a silence of {silence_s:.0f} s on the downlink")
    return faults
