"""The picture of a source: an SVG that stands alone, in which each cell is a region of the source.

SVG 2 (W3C), without scripts, fonts or anything else that would have to be fetched.
"""

import textwrap
from html import escape

from ground.report.cells import COLUMNS, bytes_by_look, close_up, overlapping, overview, where_the_log_lies
from ground.report.looks import HEARD, LOOKS, PALETTE_SOURCE, see
from ground.report.plain import NO_BREAK, grouped, printable, several
from protocol.block import BLOCK_SIZE

WIDTH = 560  # in the picture's own unit; all lengths but SHOWN_WIDTH are in it
SHOWN_WIDTH = 720  # in pixels, where there is so much room
EDGE, LEFT, CELL = 12, 68, 7.5
TITLE, TEXT, SMALL, TINY = 20, 15, 13, 11  # heights of letters
LETTER = 0.57  # width of a letter on its height, if the font is wide
LEGEND_ROW, SWATCH, NUMBERS_AT = 23, 13, 420
ROWS_A_LABEL = 8
NAME_MAX = 40
INK, FAINT, PAPER = "#222018", "#6B665C", "#FBF9F4"


class _Page:
    """Collects elements from top to bottom; y: where the next one begins."""

    def __init__(self):
        self.parts = []
        self.y = EDGE

    def add(self, element, height=0):
        self.parts.append(element)
        self.y += height

    def paragraph(self, words, size=TEXT, weight="normal", colour=INK):
        """Text, wrapped; it may hold anything."""
        for line in textwrap.wrap(words, int((WIDTH - 2 * EDGE) / (size * LETTER))):
            self.y += round(size * 1.35)
            self.add(_text(EDGE, self.y - 4, line, size, weight, colour))


def picture(coverage):
    """Draw what a source held, place by place.

    coverage: Coverage of the ledger. Returns the SVG, str. Its heading and legend say what a cell is and how
    many blocks and bytes of each kind there are; pointing at a cell shows which bytes it stands for.
    """
    page = _Page()
    name = printable(coverage.source, NAME_MAX)
    seen = see(coverage.ranges)
    page.paragraph(f"What {name} held", TITLE, "bold")
    if seen:
        _fill(page, seen)
    else:
        page.paragraph("Nothing of it could be read.")
    if coverage.ranges and not coverage.ranges[-1].length:
        page.paragraph("It goes on beyond what is shown here, but could not be read there.")
    return _svg(f"What {name} held: a picture of its bytes", page)


def _fill(page, seen):
    size = seen[-1].range.end
    whole = overview(seen, size)
    cell = _a_cell(whole)
    page.paragraph(f"{grouped(size)} bytes, row by row. {cell} and shows the worst that lies in it.")
    _legend(page, seen)
    log = where_the_log_lies(seen)
    detail = close_up(seen, log.start, log.stop) if log else whole
    if detail.cell_size >= whole.cell_size:
        _draw(page, seen, whole)
    else:
        page.paragraph("The whole of it", weight="bold")
        _draw(page, seen, whole, frame=detail)
        page.y += 6
        span = f"bytes {grouped(detail.start)} to {grouped(detail.stop - 1)}"
        page.paragraph(f"Closer, where the log lies: {span}", weight="bold")
        others = f" Shorter pieces lie in {several(log.others, 'other place')}." if log.others else ""
        page.paragraph(f"{_a_cell(detail)}.{others}", SMALL, colour=FAINT)
        _draw(page, seen, detail)
    page.paragraph(
        "Point at a cell to see which bytes it is. "
        f"Colours: {PALETTE_SOURCE}; the marks say the same in grey.", SMALL, colour=FAINT,
    )


def _legend(page, seen):
    """A row for each look that occurs: what it means, and how many blocks and bytes have it."""
    page.y += LEGEND_ROW
    for words, at in (("blocks", NUMBERS_AT), ("bytes", WIDTH - EDGE)):
        page.add(_text(at, page.y - 4, words, SMALL, colour=FAINT, anchor="end"))
    for index, look in enumerate(LOOKS):
        items = [item for item in seen if item.look is look]
        if not items:
            continue
        line = page.y + SWATCH
        page.add(
            f'<g transform="translate({EDGE} {page.y + 1}) scale({SWATCH})">'
            f'<path d="M0 0h3v1h-3z" fill="{look.colour}"/>{"".join(_mark(index, x, 0) for x in range(3))}'
            f'<path d="M1 0v1M2 0v1" stroke="{PAPER}" stroke-width=".1"/>'
            f'<path d="M0 0h3v1h-3z" fill="none" stroke="{FAINT}" stroke-width=".05"/></g>'
        )
        number = grouped(sum(item.blocks for item in items)) + (" packets" if look is HEARD else "")
        page.add(_text(EDGE + 3 * SWATCH + 10, line, look.words, TEXT))
        page.add(_text(NUMBERS_AT, line, number, TEXT, anchor="end"))
        length = grouped(sum(item.range.length for item in items))
        page.add(_text(WIDTH - EDGE, line, length, TEXT, anchor="end"))
        page.y += LEGEND_ROW


def _draw(page, seen, grid, frame=None):
    """The cells of a Grid. frame: the Grid of the part that is drawn closer, if any."""
    page.y += 8
    plus = "+" if grid.start else ""
    for row in range(0, grid.rows, ROWS_A_LABEL):
        words = plus + _binary(row * COLUMNS * grid.cell_size)
        page.add(_text(LEFT - 6, page.y + (row + 1) * CELL + 1, words, TINY, colour=FAINT, anchor="end"))
    page.add(f'<g transform="translate({LEFT} {page.y:g}) scale({CELL})">')
    for first, last, look in grid.runs():
        index = LOOKS.index(look)
        marks = "".join(_mark(index, cell % COLUMNS, cell // COLUMNS) for cell in range(first, last))
        page.add(
            f"<g><title>{escape(_tooltip(seen, grid, first, last, look))}</title>"
            f'<path d="{_outline(first, last)}" fill="{look.colour}"/>{marks}</g>'
        )
    lines = "".join(f"M{x} 0v{grid.rows}" for x in range(1, COLUMNS))
    lines += "".join(f"M0 {y}h{COLUMNS}" for y in range(1, grid.rows))
    page.add(f'<path d="{lines}" stroke="{PAPER}" stroke-width=".1" pointer-events="none"/>')
    if frame:
        first = (frame.start - grid.start) // grid.cell_size
        last = -(-(frame.stop - grid.start) // grid.cell_size)
        page.add(
            f'<path d="{_outline(first, last)}" fill="none" stroke="{INK}" stroke-width=".3" '
            'pointer-events="none"/>'
        )
    page.add("</g>", grid.rows * CELL + 6)


def _tooltip(seen, grid, first, last, look):
    start, stop = grid.bytes_of(first, last)
    words = f"{look.words}: bytes {grouped(start)} to {grouped(stop - 1)}"
    parts = overlapping(seen, start, stop)
    if len(parts) == 1:
        return words + _from_the_ledger(parts[0].range)
    held = bytes_by_look(seen, start, stop)
    return words + "".join(f"; {grouped(held[one])} bytes {one.words}" for one in LOOKS if held[one])


def _from_the_ledger(item):
    """What the ledger says of one range, in its own words."""
    flat = {}
    for key, value in item.detail.items():
        flat |= value if isinstance(value, dict) else {key: value}
    return "".join(f"; {key.replace('_', ' ')} {printable(str(value))}" for key, value in flat.items())


def _outline(first, last):
    """The path around cells first .. last - 1."""
    (top, left), (bottom, right) = divmod(first, COLUMNS), divmod(last - 1, COLUMNS)
    if top == bottom:
        return f"M{left} {top}H{right + 1}v1H{left}z"
    if bottom == top + 1 and right < left:  # two pieces that do not touch
        return f"M{left} {top}H{COLUMNS}v1H{left}zM0 {bottom}H{right + 1}v1H0z"
    return f"M{left} {top}H{COLUMNS}V{bottom}H{right + 1}v1H0V{top + 1}H{left}z"


def _mark(index, x, y):
    return f'<use href="#m{index}" x="{x}" y="{y}"/>' if LOOKS[index].mark else ""


def _text(x, y, words, size, weight="normal", colour=INK, anchor="start"):
    return (
        f'<text x="{x}" y="{y:g}" font-size="{size}" font-weight="{weight}" fill="{colour}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )


def _svg(title, page):
    height = round(page.y + EDGE)
    marks = "".join(f'<g id="m{index}">{look.mark}</g>' for index, look in enumerate(LOOKS) if look.mark)
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{SHOWN_WIDTH}" '
        f'height="{SHOWN_WIDTH * height // WIDTH}" '
        'style="display:block;margin:auto;max-width:100%;height:auto" '
        f'font-family="system-ui, sans-serif" role="img" aria-labelledby="title">',
        f'<title id="title">{escape(title)}</title>',
        "<style>@media print {:root {max-height: 100vh}}</style>",  # on one page, however long it is
        f"<defs>{marks}</defs>",
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        *page.parts,
        "</svg>\n",
    ])


def _a_cell(grid):
    blocks = grid.cell_size // BLOCK_SIZE
    if blocks == 1:
        return "Each cell is 1 block (512 bytes)"
    return f"Each cell is {grouped(blocks)} blocks ({_binary(grid.cell_size)})"


def _binary(count):
    """Bytes in the binary multiples of IEC 80000-13."""
    for unit, factor in (("GiB", 1 << 30), ("MiB", 1 << 20), ("KiB", 1 << 10)):
        if count >= factor:
            return f"{count / factor:g}{NO_BREAK}{unit}"
    return f"{count}{NO_BREAK}B" if count else "0"
