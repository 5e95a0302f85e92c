"""Regenerate the tables of protocol/FORMAT.md from protocol/table.py, block.py and packet.py.

    python tools/make_format.py           write them
    python tools/make_format.py --check   exit 1 if they are stale
"""

import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from protocol import block, packet, table  # noqa: E402
from protocol.record import RECORD_OVERHEAD, Layout  # noqa: E402
from protocol.wire import missing_value, wire_size  # noqa: E402

PAGE = ROOT / "protocol" / "FORMAT.md"


def comments_of_table():
    """The comment at the end of each line of table.py that opens a kind, a field or an event.

    Returns a dict: ("kind", kind name), ("field", kind name, field name), ("event", name) -> comment.
    """
    found = {}
    kind = None
    for line in Path(table.__file__).read_text("utf-8").splitlines():
        if match := re.match(r'    b"kind \d+ (\w+)\\n"  # (.+)', line):
            kind = match[1]
            found["kind", kind] = match[2]
        elif match := re.match(r'        b"field (\w+) .*\\n"  # (.+)', line):
            found["field", kind, match[1]] = match[2]
        elif match := re.match(r'    b"\d+ ([\w ]+)\\n"  # (.+)', line):
            found["event", match[1]] = match[2]
    return found


def span(wire, divisor):
    """Least and greatest value that a field can hold, as text; the missing value is left out."""
    low, high = 0, 0
    bits = 8 * wire_size(wire)
    if wire in "BHI":
        high = (1 << bits) - 2
    else:
        low, high = -(1 << (bits - 1)) + 1, (1 << (bits - 1)) - 1
    return f"{low / divisor:.10g} .. {high / divisor:.10g}"


def kinds():
    comments = comments_of_table()
    for number, name, fields in table.KINDS:
        yield f"### Kind {number}: {name}"
        yield ""
        yield f"{comments['kind', name]}. {Layout(name).size} bytes with kind and time."
        yield ""
        yield "| offset | field | wire type | divisor | unit | resolution | range | missing | meaning |"
        yield "|---|---|---|---|---|---|---|---|---|"
        offset = RECORD_OVERHEAD
        for field, wire, divisor, unit in map(table.split_field, fields):
            missing = missing_value(wire)
            number_like = missing is not None
            yield (
                f"| {offset} | `{field}` | `{wire}` | {divisor} | {unit} "
                f"| {f'{1 / divisor:g}' if number_like else ''} | {span(wire, divisor) if number_like else ''} "
                f"| {missing if number_like else ''} | {comments['field', name, field]} |"
            )
            offset += wire_size(wire)
        yield ""


def codes():
    comments = comments_of_table()
    yield "| number | phase | device |"
    yield "|---|---|---|"
    for number, device in enumerate(table.DEVICES):
        phase = table.PHASES[number] if number < len(table.PHASES) else ""
        yield f"| {number} | {phase} | {device} |"
    yield ""
    yield "| code | event | its numbers |"
    yield "|---|---|---|"
    for code, event in table.EVENTS:
        yield f"| {code} | {event} | {comments['event', event]} |"


def header(format_text, names):
    yield "| offset | wire type | field |"
    yield "|---|---|---|"
    offset = 0
    for wire, name in zip(re.findall(r"\d*[a-zA-Z]", format_text), names, strict=True):
        yield f"| {offset} | `{wire}` | `{name}` |"
        offset += wire_size(wire)


def block_header():
    yield from header(block.BLOCK_HEADER, block.BLOCK_HEADER_FIELDS)
    yield f"| {block.BLOCK_FIRST} | | records, `used` bytes, then zeros |"
    yield f"| {block.BLOCK_LIMIT} | `I` | CRC-32 |"
    yield ""
    yield f"`version` is {table.FORMAT_VERSION}."


def packet_header():
    yield from header(packet.PACKET_HEADER, packet.PACKET_HEADER_FIELDS)
    yield f"| {packet.PACKET_FIRST} | | records, `length` bytes |"
    yield f"| {packet.PACKET_FIRST} + `length` | `H` | CRC-16 |"


SECTIONS = {"kinds": kinds, "codes": codes, "block": block_header, "packet": packet_header}


def regenerate(page):
    """Return the page's text with every generated section made anew."""

    def make(match):
        body = "\n".join(SECTIONS[match[1]]()).strip("\n")
        return f"<!-- generated: {match[1]} -->\n{body}\n<!-- end -->"

    return re.sub(r"<!-- generated: (\w+) -->\n.*?<!-- end -->", make, page, flags=re.DOTALL)


def main():
    page = PAGE.read_text("utf-8")
    fresh = regenerate(page)
    if "--check" in sys.argv[1:]:
        if fresh != page:
            sys.exit("protocol/FORMAT.md is stale; run python tools/make_format.py")
        return
    PAGE.write_text(fresh, "utf-8")


if __name__ == "__main__":
    main()
