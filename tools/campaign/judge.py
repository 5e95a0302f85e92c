"""Comparing what came out of a source with what had to."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from tools.campaign.expect import data_places, may_be_rebuilt, readable, stands_nearly_whole


@dataclass
class Verdict:
    """Numbers of one case, and what went wrong, in words."""

    seed: int
    name: str
    counts: Counter = field(default_factory=Counter)
    failures: list = field(default_factory=list)

    def check(self, is_right, words):
        if not is_right:
            self.failures.append(words)


def judge(case, reading):
    """Verdict on a Reading of a Case."""
    expected = case.expected()
    verdict = Verdict(case.seed, case.name)
    counts = verdict.counts
    counts["written"] = len({id(block) for log in case.logs for block in log.blocks})
    counts["survived"] = len(expected.alive)
    verdict.check(not reading.balanced, reading.balanced)

    missed, invented = set(expected.whole) - reading.whole, reading.whole - set(expected.whole)
    verdict.check(not missed, f"whole blocks not found at {sorted(missed)[:5]}")
    verdict.check(not invented, f"blocks found that nobody wrote at {sorted(invented)[:5]}")
    counts["proven"] = len({id(expected.whole[at]) for at in reading.whole & set(expected.whole)})
    counts["missed"], counts["invented"] = len(missed), len(invented)
    restored = _restored(verdict, case, expected, reading)
    _records(verdict, expected, reading, restored)
    _losses(verdict, case, expected, reading, restored)
    return verdict


def _restored(verdict, case, expected, reading):
    """{"rebuilt" or "repaired": blocks that came back}, after they were compared with what had to."""
    # A torn block may lack so little that it comes back.
    written = [block for log in case.logs for block in [*log.blocks, *log.torn]]
    by_key = {block.key: block for block in written if not block.is_parity}
    name = {id(block): key for key, block in by_key.items()}
    repairable = {id(block) for block in expected.repairable.values()}
    rebuilt_may = expected.rebuilt_may - expected.alive
    counts, got = verdict.counts, {}
    for level, may in (("rebuilt", rebuilt_may), ("repaired", repairable)):
        keys = reading.restored[level]
        strangers = [key for key in keys if key not in by_key]
        got[level] = {id(by_key[key]): by_key[key] for key in keys if key in by_key}
        unjust = [name[one] for one in got[level] if one not in may]
        # What was moved or doubled may have come together again at another offset.
        unjust = [key for key in unjust if not _has_the_means(level, case, expected, by_key[key])]
        counts[level], counts["invented"] = len(got[level]), counts["invented"] + len(strangers) + len(unjust)
        verdict.check(not strangers, f"{level} blocks that nobody wrote: {strangers[:5]}")
        verdict.check(not unjust, f"{level} without the means for it: {unjust[:5]}")
    both = set(got["rebuilt"]) | set(got["repaired"])
    for level, must in (("rebuilt", expected.rebuilt), ("repaired", expected.repaired)):
        missed = sorted(map(str, (name[one] for one in must - both)))
        counts["missed"] += len(missed)
        verdict.check(not missed, f"not {level}, {len(missed)} blocks such as {missed[:3]}")
    counts["rebuildable"] = len(expected.rebuilt)
    counts["repairable"] = len(expected.repaired - expected.rebuilt)
    counts["extra"] = len(both - expected.rebuilt - expected.repaired)
    return {level: list(blocks.values()) for level, blocks in got.items()}


def _has_the_means(level, case, expected, block):
    data = bytes(case.image.data)
    if level == "repaired":
        return stands_nearly_whole(data, block)
    logs = [log for log in case.logs if any(one is block for one in log.blocks)]
    return any(may_be_rebuilt(data, log, expected.alive, block) for log in logs)


def _records(verdict, expected, reading, restored):
    least, most = defaultdict(lambda: defaultdict(Counter)), defaultdict(lambda: defaultdict(Counter))
    for level, blocks in {"proven": _once(expected.whole.values()), **restored}.items():
        for block in blocks:
            key = block.flight.hex(), block.boot
            least[key][level].update(readable(block, block.flight in expected.foreign_known))
            most[key][level].update(block.records)
    packets = defaultdict(Counter)
    heard = _once(packet for at, packet in expected.packets.items() if at not in expected.lone)
    for packet in heard:
        packets[packet.flight.hex(), packet.boot].update(packet.records)
    got = defaultdict(lambda: defaultdict(Counter))
    for level, boots in reading.records.items():
        for (flight, boot), records in boots.items():
            got[_full_name(flight, boot, {*least, *packets})][level].update(records)
    verdict.counts["chance"] += len(expected.chance)
    verdict.counts["packets"] += len(heard)
    for key in sorted({*least, *packets, *got}):
        levels = ("proven", *restored)
        if packets[key]:
            # What came on the card and over the link counts once, at either's level; twice if the clocks
            # of the two, which are made independently here, stand at the same tick of different periods.
            need = [sum((least[key][level] for level in levels), Counter()) | packets[key]]
            may = [sum((most[key][level] for level in levels), Counter()) + packets[key]]
            seen = [sum((got[key][level] for level in levels), Counter())]
        else:
            need, may, seen = ([side[key][level] for level in levels] for side in (least, most, got))
        for level, need_one, may_one, seen_one in zip(levels, need, may, seen, strict=False):
            missing, extra = need_one - seen_one, seen_one - may_one
            _compare(verdict, f"{key} {level}", missing, extra, bool(expected.chance))
        verdict.counts["unproven records"] += got[key]["unproven"].total()


def _compare(verdict, where, missing, extra, by_chance):
    counts = verdict.counts
    counts["missed records"] += missing.total()
    verdict.check(not missing, f"{where}: {missing.total()} records missed, such as {_some(missing)}")
    if not by_chance:  # else nobody can tell them from what a CRC-16 let pass
        counts["invented records"] += extra.total()
        verdict.check(not extra, f"{where}: {extra.total()} records invented, such as {_some(extra)}")


def _once(envelopes):
    return list({(item.flight, item.boot, item.number, item.data): item for item in envelopes}.values())


def _full_name(flight, boot, known):
    """A flight of which only a byte is known by its whole name, if there is such a one."""
    byte = flight.removeprefix("unknown-")[:2]
    if flight.startswith("unknown-"):
        fitting = [
            name for name in sorted(known) if name[0].startswith(byte) and name[1] & 0xFF == boot & 0xFF
        ]
        return fitting[0] if fitting else (flight, boot)
    return flight, boot


def _some(counter):
    return next(((kind, tick) for kind, tick, _ in counter), None)


def _losses(verdict, case, expected, reading, restored):
    """Every number below the highest found is found or lost; above it, only what may have been written
    is lost.
    """
    numbers = defaultdict(set)
    for block in [*expected.whole.values(), *restored["rebuilt"], *restored["repaired"]]:
        if not block.is_parity:
            numbers[block.flight.hex(), block.boot].add(block.number)
    written = _may_have_been_written(case.logs, numbers)
    for key in sorted({*numbers, *reading.losses}):
        lost, there = reading.losses[key], numbers[key]
        gaps = set(range(max(there, default=-1) + 1)) - there
        verdict.check(set(lost) >= gaps, f"{key}: losses not told: {sorted(gaps - set(lost))[:5]}")
        verdict.check(not set(lost) & there, f"{key}: found and lost: {sorted(set(lost) & there)[:5]}")
        beyond = sorted(n for n in lost if n >= written[key])
        verdict.check(not beyond, f"{key}: losses of blocks that were never written: {beyond[:5]}")
        verdict.check(max(lost.values(), default=1) == 1, f"{key}: a loss is told twice")


def _may_have_been_written(logs, found):
    """{(flight, boot): blocks that its places have room for}: sectors that the card refused, or that
    held something before, look afterwards as if a block of ours had stood there, in this boot or in the
    one before; and the blocks of a boot of which nothing is left count for the one before. found: the
    boots that left anything.
    """
    room = Counter()
    for log in logs:
        boots = defaultdict(list)
        for block in [*log.blocks, *log.torn]:
            if not block.is_parity:
                boots[block.boot].append(block)
        end = max((block.place for blocks in boots.values() for block in blocks), default=-1)
        left_out = data_places(-1, end, log.depth, log.rate) - sum(map(len, boots.values()))
        starts = {
            boot: min(block.place for block in blocks)
            for boot, blocks in boots.items() if (log.flight.hex(), boot) in found
        }
        for boot, blocks in boots.items():
            stop = min((start for other, start in starts.items() if other > boot), default=end + 1)
            room[log.flight.hex(), boot] = left_out + 1 + max(
                block.number + data_places(block.place, stop - 1, log.depth, log.rate) for block in blocks
            )
    return room
