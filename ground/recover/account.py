"""What the ledger says about restored blocks, about parity, and about the evidence of what was recovered."""

from dataclasses import replace

import numpy as np

from ground.recover import ledger
from ground.recover.evidence import EVIDENCE_WORDS, PROVEN, REBUILT, REPAIRED, UNPROVEN
from ground.recover.headers import flight_name, flight_of, flight_words, is_parity
from ground.recover.ledger import WHOLE, Range
from ground.recover.neighbours import data_index
from protocol.block import BLOCK_SIZE

_STATES = {REBUILT: ledger.REBUILT, REPAIRED: ledger.REPAIRED}


def used_of(stock, series):
    """The Restored blocks with records that are used in these Series of blocks, one for each number: list."""
    wanted = {}
    for item in series:
        if item.evidence is not None:
            rows = np.flatnonzero(item.evidence != PROVEN).tolist()
            wanted |= {(item.flight, item.boot, int(item.numbers[i])): int(item.evidence[i]) for i in rows}
    return [
        item for item in stock.restored
        if not is_parity(item.header) and wanted.pop(_identity(item.header), None) == item.evidence
    ]


def _identity(header):
    return flight_of(header).hex(), int(header["boot"]), int(header["number"])


def restored_blocks(restored, place_in_words):
    """One entry for each Restored block: list of dict. place_in_words: called with a joint offset."""
    return [
        {
            "evidence": EVIDENCE_WORDS[item.evidence],
            **dict(zip(("flight", "boot", "number"), _identity(item.header), strict=True)),
            "place": int(item.header["place"]),
            "stood_at": None if item.offset is None else place_in_words(item.offset),
            **item.how,
        }
        for item in restored
    ]


def mark_restored(ranges, restored, base):
    """Ranges of one source in which each sector whose block was restored is a range and state of its own.
    restored: list of Restored; base: of the source, see Joint.
    """
    marks = sorted((item.offset - base, item.evidence) for item in restored if item.offset is not None)
    marked, index = [], 0
    for item in ranges:
        while index < len(marks) and marks[index][0] + BLOCK_SIZE <= item.end:
            start, evidence = marks[index]
            index += 1
            # Where bytes were cut out, two sectors may seem to overlap: the first counts.
            if start < item.offset or item.state in WHOLE:
                continue
            if item.offset < start:
                marked.append(replace(item, length=start - item.offset))
            marked.append(Range(start, BLOCK_SIZE, _STATES[evidence], {"held": item.state, **item.detail}))
            item = replace(item, offset=start + BLOCK_SIZE, length=item.end - start - BLOCK_SIZE)
        if item.length:
            marked.append(item)
    return marked


def evidence_counts(series, boots, unproven):
    """{"blocks": {word: n}, "records": {word: n}}: blocks of the Series, records of the BootLogs."""
    blocks, records = np.zeros(len(EVIDENCE_WORDS), int), np.zeros(len(EVIDENCE_WORDS), int)
    for item in series:
        levels = np.zeros(len(item.numbers), np.uint8) if item.evidence is None else item.evidence
        blocks += np.bincount(levels, minlength=len(blocks))
    for log in [*boots, *unproven]:
        for kind in log.records.values():
            records += [np.count_nonzero(kind.evidence == level) for level in range(len(records))]
    words = EVIDENCE_WORDS[:UNPROVEN]
    return {
        "blocks": dict(zip(words, blocks.tolist(), strict=False)),
        "records": dict(zip(EVIDENCE_WORDS, records.tolist(), strict=True)),
    }


def parity_counts(stock):
    """{flight: {"found": n, "missing": n}} of the parity blocks between the first and the last place of
    each flight that writes parity.
    """
    headers = stock.found["header"]
    counts = {}
    with_parity = headers[headers["depth"] > 0]
    for word in np.unique(flight_words(with_parity)):
        mine = with_parity[flight_words(with_parity) == word]
        depth, rate = int(mine["depth"][0]), int(mine["rate"][0])
        first, stop = int(mine["place"].min()), int(mine["place"].max()) + 1
        written = stop - first - int(data_index(stop, depth, rate) - data_index(first, depth, rate))
        found = len(np.unique(mine["place"][is_parity(mine)]))
        counts[flight_name(word)] = {"found": found, "missing": max(0, written - found)}
    return counts


def parity_notes(counts):
    """A line for each flight that lost parity blocks."""
    return [
        f"flight {flight}: {count['missing']} of {sum(count.values())} parity blocks are lost; they hold no "
        "records, so nothing that was measured is lost with them"
        for flight, count in counts.items() if count["missing"]
    ]
