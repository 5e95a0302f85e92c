"""From each format to numpy columns of integers, in one way that is usual for it."""

import io
from zlib import crc32

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from benchmark.flight import NUMBERS, columns_of
from ground.layout import BLOCK_STRUCTURE, OWN_KINDS
from protocol.block import BLOCK_LIMIT, BLOCK_SIZE

_FIELDS = {kind.number: [field.name for field in kind.fields] for kind in NUMBERS}


def recovered_columns(recovered):
    """Kind number to columns, from what recovery gives."""
    return {
        table.layout.number: columns_of(table)
        for boot in recovered.boots for table in boot.records.values() if table.layout.number in _FIELDS
    }


def rows_to_columns(rows):
    """Kind number to columns, from an iterator of records."""
    grouped = {}
    for row in rows:
        grouped.setdefault(row[0], []).append(row[1:])
    return {number: list(np.array(group, np.int64).T) for number, group in grouped.items()}


def arrow_columns(tables):
    """From CSV, a file a kind (kind number to bytes), by pyarrow on one core."""
    read = arrow_csv.ReadOptions(use_threads=False)
    columns = {}
    for number, data in tables.items():
        types = dict.fromkeys(["tick_ms", *_FIELDS[number]], pa.int64())
        convert = arrow_csv.ConvertOptions(column_types=types)
        table = arrow_csv.read_csv(pa.py_buffer(data), read_options=read, convert_options=convert)
        columns[number] = [column.to_numpy() for column in table.columns]
    return columns


def pandas_columns(tables):
    """From CSV, a file a kind, by pandas with its C parser."""
    frames = {number: pd.read_csv(io.BytesIO(data), dtype=np.int64) for number, data in tables.items()}
    return {number: [frame[name].to_numpy() for name in frame] for number, frame in frames.items()}


def construct_structures(compiled):
    """(block, kind number to (record, its size)): construct structures of our format."""
    def ready(structure):
        return structure.compile() if compiled else structure

    records = {kind.number: (ready(kind.structure), kind.structure.sizeof()) for kind in OWN_KINDS}
    return ready(BLOCK_STRUCTURE), records


def construct_records(log, structures):
    """Parse a log block by block, check sums checked: list of (base tick, list of records)."""
    block, kinds = structures
    parsed = []
    for start in range(0, len(log), BLOCK_SIZE):
        item = block.parse(log[start:start + BLOCK_SIZE])
        if crc32(log[start:start + BLOCK_LIMIT]) != item.crc:
            continue
        records, at = [], 0
        while at < item.used:
            structure, size = kinds[item.records[at]]
            records.append(structure.parse(item.records[at:at + size]))
            at += size
        parsed.append((item.tick, records))
    return parsed


def construct_sums(parsed):
    """Sums of the columns of what construct parsed, as Contents.sums gives them. For logs of less than a
    period of the tick.
    """
    rows = (
        (record.kind, tick + record.difference, *[record[name] for name in _FIELDS[record.kind]])
        for tick, records in parsed for record in records if record.kind in _FIELDS
    )
    return sums_of(rows_to_columns(rows))


def sums_of(columns):
    """Kind number to the sums of its columns."""
    return {number: [int(column.sum()) for column in group] for number, group in columns.items()}
