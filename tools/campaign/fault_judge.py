"""What must hold of a flight with faults, judged beside the same flight without."""

from collections import Counter

from protocol.table import DEVICES, EVENTS, PHASES
from tools.campaign.fault_flights import DOWNLINK_S

EVENT_NAMES = dict(EVENTS)
KINDS = ("pressure", "air", "motion", "power", "health", "fix", "probe")
MARGIN_MS = 4_000  # after a fault, until everything must be as it was
LATE_CARD_MS = 10_500  # a board that boots without a card looks for one again every 10 s
BOOT_LOSS_MS = 4_500  # what a reset may take: two seconds before it, its 2 s, and the boot with some margin
_PHASE_LATE_MS = 95_000  # one height may be alone in its opinion for a minute
_STILL_MS = 60_000  # the landing is told after a minute of rest; a reset begins it anew


def events(records):
    """The events: (time, name, subject, detail)."""
    return [
        (r.time_ms, EVENT_NAMES[r.values["code"]], r.values["subject"], r.values["detail"])
        for r in records if r.kind == "event"
    ]  # fmt: skip


def judge(records, numbers, when, clean, course):
    """List what is wrong with a flight: lines of text.

    records, numbers: of fault_flights.read. when: {(phase, case): (start, stop)}. clean: the records of the flight
    without faults. course: a Course.
    """
    cases = list({case: None for _, case in when})
    wrong = [f"boot {boot} lacks a block" for boot, found in numbers.items() if found != list(range(len(found)))]
    wrong += [f"a task failed: {text}" for text in _messages(records) if "Task" in text]
    wrong += _rates(records, when, clean, cases)
    wrong += _values(records, when, clean, cases)
    wrong += _told(records, when, cases)
    wrong += _phases(records, course, cases)
    return wrong


def silences(sent, when, course):
    """List where the downlink paused for longer than it may. sent: (time in ms, bytes) of each write."""
    cases = {case for _, case in when}
    longest_ms = 2_500 * DOWNLINK_S + (BOOT_LOSS_MS if any(case.loses == "boot" for case in cases) else 0)
    longest_ms += max(case.quiet_ms for case in cases)
    times = [0, *(begin for begin, _ in sent), course.end_ms]
    return [
        f"the downlink is silent from {before / 1000:.0f} to {after / 1000:.0f} s"
        for before, after in zip(times, times[1:], strict=False) if after - before > longest_ms
    ]  # fmt: skip


def _messages(records):
    pieces = [bytes.fromhex(r.values["characters"]) for r in records if r.kind == "text"]
    return [piece.rstrip(b"\0").decode(errors="replace") for piece in pieces]


def _spans(when):
    # Each phase's stretch from the first fault's beginning to the last one's end.
    spans = {}
    for (phase, _), (start, stop) in when.items():
        known = spans.get(phase, (start, stop))
        spans[phase] = (min(known[0], start), max(known[1], stop))
    return spans


def _rates(records, when, clean, cases):
    wrong = []
    resets = sum(case.loses == "boot" for case in cases)
    drops = any(case.loses == "blocks" for case in cases)
    given_up = sum(detail for _, name, _, detail in events(records) if name == "blocks lost")
    if not drops and given_up:
        wrong.append(f"{given_up} blocks found no room")
    spans = _spans(when)
    lost_s = 0.0
    late = any(case.delays for case in cases)
    shortage = 0
    for phase, (start, stop) in spans.items():
        for kind in KINDS:
            expected = _count(clean, kind, start, stop + MARGIN_MS)
            found = _count(records, kind, start, stop + MARGIN_MS)
            length_ms = stop + MARGIN_MS - start
            allowed = 2 + expected * resets * BOOT_LOSS_MS / length_ms + (2 if resets else 0)
            if kind == "fix" and any(case.target == "gnss" for case in cases):
                continue  # _told judges the receiver
            shortage += max(0, expected - found)
            if found < expected - allowed and not drops and not late:
                wrong.append(f"{phase}: {found} of {expected} {kind} records")
            if late and found < expected // 2 and not drops:
                wrong.append(f"{phase}: only {found} of {expected} {kind} records")
            if kind == "motion":
                lost_s += max(0.0, (expected - found) / expected * length_ms / 1000)
    told = sum(r.values["missed_samples"] or 0 for r in records if r.kind == "health")
    if late and not drops and not resets and shortage > told + 8:
        wrong.append(f"{shortage} samples were left out, and {told} told")
    if drops and lost_s > 2.5 and not given_up:
        wrong.append(f"{lost_s:.0f} s are lost and not told")
    return wrong + _between(records, spans, clean, resets, drops)


def _between(records, spans, clean, resets, drops):
    # Where no fault is, nothing may be lost.
    wrong = []
    edges = sorted(spans.values())
    margin_ms = MARGIN_MS + (LATE_CARD_MS if drops and resets else 0)
    after = [0, *(stop + margin_ms for _, stop in edges)]
    before = [*(start - (11_000 if drops else 2_500 if resets else 0) for start, _ in edges), 10**9]
    for first, last in zip(after, before, strict=True):
        for kind in KINDS:
            expected, found = _count(clean, kind, first, last), _count(records, kind, first, last)
            if abs(found - expected) > 2:
                where = f"between {first / 1000:.0f} and {last / 1000:.0f} s"
                wrong.append(f"{where}: {found} {kind} records, not {expected}")
    return wrong


def _count(records, kind, first, last):
    return sum(1 for r in records if r.kind == kind and first <= r.time_ms < last)


def _values(records, when, clean, cases):
    """Missing values: all of what cannot be known, and nothing else."""
    wrong = []
    may = Counter()
    for case in cases:
        for source in (case.missing, case.may_miss):
            for kind, names in source.items():
                may.update((kind, name) for name in names)
    usual = Counter(_missing(clean))
    at_boots = 3 if any(case.loses == "boot" for case in cases) else 0
    for (kind, name), count in Counter(_missing(records)).items():
        if (kind, name) not in may and count > usual[kind, name] + at_boots:
            wrong.append(f"{kind}.{name} is missing {count} times, not {usual[kind, name]}")
    for (phase, case), (start, stop) in when.items():
        for kind, names in case.missing.items():
            inside = [r for r in records if r.kind == kind and start + 1_000 <= r.time_ms < stop - 1_000]
            stale = sum(1 for r in inside if any(r.values[name] is not None for name in names))
            if stale and not any(other.kind == "garbled" and other.target == case.target for other in cases):
                wrong.append(f"{phase}: {stale} of {len(inside)} {kind} records have values during {case.order}")
            late = [r for r in records if r.kind == kind and stop + case.within_ms[1] <= r.time_ms < stop + 20_000]
            others = any((kind, name) in may and may[kind, name] > 1 for name in names)
            gone = sum(1 for r in late if any(r.values[name] is None for name in names))
            if gone and not others:
                wrong.append(f"{phase}: {gone} {kind} records have no values after {case.order}")
    return wrong


def _missing(records):
    for r in records:
        if r.kind in KINDS:
            for name, value in r.values.items():
                if value is None:
                    yield r.kind, name


def _told(records, when, cases):
    wrong = []
    found = events(records)
    known = {device for case in cases for device in (*case.tells, *case.may_tell)}
    for time_ms, name, subject, _ in found:
        if name in ("device failed", "device returned") and DEVICES[subject] not in known:
            wrong.append(f"{name}: {DEVICES[subject]} at {time_ms / 1000:.1f} s, which had no fault")
    loses = {case.loses for case in cases}
    for (phase, case), (start, stop) in when.items():
        for device in case.tells:
            others = [other for other in cases if other is not case and device in (*other.tells, *other.may_tell)]
            # A silence must last before it is told: a reset begins its count anew, and saved beacons are far apart.
            is_slow = case.within_ms[0] > 10_000
            hides = [other for other in cases if other is not case and (other.loses == "boot" or other.quiet_ms)]
            is_hidden = is_slow and hides
            if not others and not is_hidden:
                wrong += _device(found, phase, case, device, start, stop, loses)
    return wrong


def _device(found, phase, case, device, start, stop, loses):
    def times(name, first, last):
        return [t for t, n, s, _ in found if n == name and s == DEVICES.index(device) and first <= t <= last]

    fail_ms, back_ms = case.within_ms
    slack = BOOT_LOSS_MS if "boot" in loses else 0
    is_twice = device == "card" and slack  # what one boot said is lost with its memory, so the next one has to say it
    if is_twice:
        fail_ms, back_ms = stop - start, back_ms + LATE_CARD_MS
    failed = times("device failed", start, start + fail_ms + slack)
    returned = times("device returned", stop, stop + back_ms + slack)
    if "blocks" in loses and (device != "card" or is_twice):
        failed, returned = failed or returned, failed or returned  # the log of one of them may be lost
    wrong = []
    if not failed:
        wrong.append(f"{phase}: {device} is not said to fail during {case.order}")
    if not returned:
        wrong.append(f"{phase}: {device} is not said to return after {case.order}")
    return wrong


def _phases(records, course, cases):
    truth = course.truth
    heights = {height for case in cases for height in case.heights}
    changes = [(t, PHASES[s]) for t, name, s, detail in events(records) if name == "phase changed" and t > 1_000]
    pairs = zip(changes, [(0, "waiting"), *changes], strict=False)
    changes = [change for change, before in pairs if change[1] != before[1]]
    wrong = []
    order = [phase for _, phase in changes]
    if order != ["climbing", "falling", "landed"] and len(heights) < 2:
        wrong.append(f"the phases are {', '.join(order) or 'none'}")
    if order[-1:] != ["landed"]:
        wrong.append(f"the last phase is {order[-1] if order else 'waiting'}")
    moments = {"climbing": truth.release.time_s, "falling": truth.burst.time_s, "landed": truth.landing.time_s + 60}
    late_ms = _PHASE_LATE_MS + (_STILL_MS if any(case.loses == "boot" for case in cases) else 0)
    for time_ms, phase in changes:
        if phase in moments and not -3_000 <= time_ms - 1000 * moments[phase] <= late_ms and len(heights) < 2:
            wrong.append(f"{phase} at {time_ms / 1000:.0f} s")
    return wrong
