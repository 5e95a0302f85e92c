"""The picture of a source: true to the ledger, readable without colour, and safe to open."""

import re
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest

from ground.recover.ledger import (
    BLOCK, BLOCK_DAMAGED, MADE_GOOD, ONES, OTHER, PACKET, PARITY, PARITY_DAMAGED, REBUILT, REPAIRED,
    UNREADABLE, ZEROS, Coverage, Ledger, Range,
)
from ground.recover.result import Recovered
from ground.report import picture, write_flights
from ground.report.cells import COLUMNS, close_up, overview
from ground.report import looks
from ground.report.looks import BLANK_INSIDE, LOOKS, WHOLE, see

SVG = "{http://www.w3.org/2000/svg}"
ALIKE = 15.0  # CIE L*: a difference that is seen at once between two small cells (our own choice)


class Layer:
    """Puts ranges one behind the other."""

    def __init__(self):
        self.ranges, self.at, self.number = [], 0, 0

    def put(self, state, length, **detail):
        self.ranges.append(Range(self.at, length, state, detail))
        self.at += length
        return self

    def blocks(self, count, missing=0):
        """Whole blocks of one boot, of which so many are missing before these."""
        first = self.number + missing
        self.number = first + count
        return self.put(
            BLOCK, 512 * count, flight="5e0b7d9a", boot=1, first_number=first, last_number=first + count - 1
        )

    def parity(self, count):
        places = {"first_place": self.at // 512, "last_place": self.at // 512 + count - 1}
        return self.put(PARITY, 512 * count, flight="5e0b7d9a", **places)

    def coverage(self, name="card.img"):
        return Coverage(name, self.at, self.ranges)


def every_state():
    layer = Layer().put(OTHER, 512 * 9).put(ZEROS, 512 * 200).put(ONES, 512 * 70)
    layer.blocks(30).put(BLOCK_DAMAGED, 512).blocks(40, 1).put(ZEROS, 1024).blocks(5, 2).put(OTHER, 512)
    layer.blocks(9, 1).put(UNREADABLE, 4096).put(BLOCK_DAMAGED, 512, **{MADE_GOOD: "b.img"})
    layer.parity(15).put(PARITY_DAMAGED, 512).put(REBUILT, 512).put(REPAIRED, 1024).blocks(3)
    return layer.put(PACKET, 180, flight_byte="5e", boot_byte=1, first_number=65530, last_number=3)


def drawn(coverage):
    return ElementTree.fromstring(picture(coverage))


def texts(root):
    return [element.text for element in root.iter(f"{SVG}text")]


def legend(root):
    """(words, blocks, bytes) of each row."""
    found, words = texts(root), {look.words for look in LOOKS}
    rows = [(found[i], found[i + 1], found[i + 2]) for i, text in enumerate(found) if text in words]
    return {row[0]: (row[1].replace("\u00a0", " "), int(row[2].replace("\u00a0", ""))) for row in rows}


def runs(root):
    """The groups of cells, each with its tooltip, outline and marks."""
    return [group for group in root.iter(f"{SVG}g") if group.find(f"{SVG}title") is not None]


def tooltips(root):
    """(words, first byte, last byte) of each run of cells, of all grids one after the other."""
    titles = [title for group in runs(root) for title in group.iter(f"{SVG}title")]
    pattern = re.compile(r"(.*?): bytes ([\d_]+) to ([\d_]+)")
    found = [pattern.match(title.text.replace("\u00a0", "_")).groups() for title in titles]
    return [(words, int(first), int(last)) for words, first, last in found]


def area(path):
    """Area inside a path of M, H, V, h, v and z, by the shoelace formula."""
    total = 0.0
    for piece in path.split("z")[:-1]:
        x, y, corners = 0.0, 0.0, []
        for command, numbers in re.findall(r"([MHVhv])([-\d. ]+)", piece):
            values = [float(number) for number in numbers.split()]
            if command == "M":
                x, y = values
            elif command in "Hh":
                x = values[0] + (x if command == "h" else 0)
            else:
                y = values[0] + (y if command == "v" else 0)
            corners.append((x, y))
        total += sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, corners[1:] + corners[:1])) / 2
    return total


def test_every_state_has_its_row_in_the_legend_and_the_rows_sum_to_the_source():
    coverage = every_state().coverage()
    rows = legend(drawn(coverage))
    assert set(rows) == {look.words for look in LOOKS}
    assert sum(length for _, length in rows.values()) == coverage.size
    assert rows["whole block"] == ("87", 87 * 512)
    assert rows["damaged block"] == ("1", 512)
    assert rows["blank in the middle of a log"] == ("2", 1024)
    assert rows["other data in the middle of a log"] == ("1", 512)
    assert rows["could not be read"] == ("8", 4096)
    assert rows["not whole here, but in another source"] == ("1", 512)
    assert rows["whole block of parity"] == ("15", 15 * 512)
    assert rows["damaged block of parity"] == rows["block rebuilt from parity and proven"] == ("1", 512)
    assert rows["damaged block, repaired"] == ("2", 1024)
    assert rows["packets"] == ("10 packets", 180)  # 65530 .. 65535, 0 .. 3
    assert rows["blank, zeros"] == ("200", 102400)


def test_the_tooltips_name_every_byte_once_in_each_grid():
    layer = Layer().put(OTHER, 1 << 20).blocks(3000).put(BLOCK_DAMAGED, 512).blocks(70, 1)
    layer.put(ZEROS, 15 << 20)
    ranges = tooltips(drawn(layer.coverage()))
    # The whole source, and the log closer: the second grid begins where no range goes on.
    [second] = [i for i in range(1, len(ranges)) if ranges[i][1] != ranges[i - 1][2] + 1]
    assert ranges[0][1] == 0 and ranges[second - 1][2] == layer.at - 1
    assert ranges[second][1] <= 1 << 20 and ranges[-1][2] == (1 << 20) + 3071 * 512 - 1
    assert ("damaged block", (1 << 20) + 3000 * 512, (1 << 20) + 3000 * 512 + 511) in ranges


def test_the_cells_that_are_drawn_are_all_cells_of_the_source():
    rows = Layer().blocks(65).put(ZEROS, 512 * 64)  # two runs that go around the end of a row
    for layer in (every_state(), Layer().blocks(1), Layer().blocks(64), rows):
        paths = [group.find(f"{SVG}path").get("d") for group in runs(drawn(layer.coverage()))]
        assert sum(map(area, paths)) == -(-layer.at // 512)


@pytest.mark.parametrize("seed", range(5))
def test_a_cell_shows_the_worst_that_lies_in_it(seed):
    rng = np.random.default_rng(seed)
    layer = Layer()
    states = [ZEROS, ONES, OTHER, UNREADABLE, BLOCK_DAMAGED, REPAIRED, REBUILT]
    while layer.at < 3_000_000:
        if rng.random() < 0.5:
            layer.blocks(int(rng.integers(1, 60)), int(rng.integers(0, 3)))
        layer.put(states[rng.integers(len(states))], int(rng.integers(1, 20_000)))
    seen = see(layer.ranges)
    of_byte = np.zeros(layer.at, np.uint8)
    for item in seen:
        of_byte[item.range.offset:item.range.end] = LOOKS.index(item.look)
    for grid in (overview(seen, layer.at), close_up(seen, 1_000_100, 2_500_000)):
        cells = np.arange(grid.start, grid.stop, grid.cell_size)
        expected = [of_byte[at:min(at + grid.cell_size, grid.stop)].min() for at in cells.tolist()]
        assert grid.worst.tolist() == expected


def test_close_up_cells_stand_where_blocks_do():
    layer = Layer().put(OTHER, 70_001).blocks(500)
    grid = close_up(see(layer.ranges), 70_001, layer.at)
    assert grid.cell_size == 512 and (70_001 - grid.start) % 512 == 0 and 70_001 - grid.start < 512 * COLUMNS
    assert (grid.worst == LOOKS.index(WHOLE)).sum() == 500


def test_a_gap_is_in_a_log_only_where_what_is_missing_had_room():
    def look_of(first, gap, second, missing):
        return see(Layer().blocks(first).put(ZEROS, gap).blocks(second, missing).ranges)[1].look

    assert look_of(3, 512, 3, 1) is BLANK_INSIDE
    assert look_of(3, 17 * 512, 3, 1) is BLANK_INSIDE  # with 16 sectors of parity
    assert look_of(3, 512, 3, 0) is BLANK_INSIDE  # parity, or a sector that the card refused
    assert look_of(3, 1 << 20, 3, 1) is looks.ZEROS  # a copy in two pieces
    assert look_of(3, 1 << 20, 3, 2000) is BLANK_INSIDE
    in_parity = Layer().parity(5).put(ONES, 512).parity(10).put(OTHER, 512).blocks(2)
    assert [item.look for item in see(in_parity.ranges)[1::2]] == [BLANK_INSIDE, looks.FOREIGN_INSIDE]
    other_flight = Layer().blocks(3).put(ZEROS, 512).blocks(3, 1)
    other_flight.ranges[2].detail["flight"] = "ffffffff"
    assert see(other_flight.ranges)[1].look is looks.ZEROS


def test_colours_are_those_of_a_published_palette_for_colour_blind_people():
    # M. Okabe and K. Ito, Color Universal Design (CUD), 2002, revised 2008: the eight colours in hexadecimal,
    # as the R package colorblindr lists them (palette_OkabeIto_black).
    published = {
        "#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7",
    }  # fmt: skip
    for look in LOOKS:
        red, green, blue = (int(look.colour[i:i + 2], 16) for i in (1, 3, 5))
        is_greyish = max(red, green, blue) - min(red, green, blue) < 20
        assert look.colour in published or is_greyish


def lightness(colour):
    """CIE 1976 L* of a colour in sRGB (IEC 61966-2-1; CIE 15)."""
    parts = np.array([int(colour[i:i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * luminance ** (1 / 3) - 16 if luminance > 0.008856 else 903.3 * luminance


def test_no_two_states_differ_in_colour_alone():
    assert lightness("#FFFFFF") == pytest.approx(100) and lightness("#000000") == 0
    for first, second in combinations(LOOKS, 2):
        if first.mark == second.mark:
            apart = abs(lightness(first.colour) - lightness(second.colour))
            assert apart > ALIKE, (first.words, second.words)


HOSTILE = "</title><script>alert(1)</script>&amp;\"'\x00\x1b[2J]]>\ud800\ufffe.img"


def test_names_from_outside_are_only_text():
    layer = Layer().blocks(2)
    layer.put(BLOCK_DAMAGED, 512, says_of_itself={"flight": HOSTILE}, why=HOSTILE).blocks(2, 1)
    svg = picture(layer.coverage(HOSTILE))
    root = ElementTree.fromstring(svg.encode())  # a lone surrogate could not be encoded
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "style", "defs", "g", "path", "circle", "rect", "text", "use",
    }
    assert any("</title><script>" in text for text in texts(root))
    assert any("why </title><script>" in title.text for title in root.iter(f"{SVG}title"))
    assert "x" * 100 not in picture(layer.coverage("x" * 5000))


def test_the_picture_needs_nothing_from_elsewhere():
    svg = picture(every_state().coverage())
    assert re.findall(r"\w+://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"url\(|@import|@font-face|<script|\bon\w+=", svg)
    used = set(re.findall(r'href="#(\w+)"', svg))
    assert used and used <= set(re.findall(r'<g id="(\w+)"', svg))


def test_one_block_and_even_less_has_a_picture():
    assert legend(drawn(Layer().blocks(1).coverage())) == {"whole block": ("1", 512)}
    assert legend(drawn(Layer().put(OTHER, 1).coverage())) == {"other data, none of ours": ("1", 1)}
    unread = drawn(Layer().put(UNREADABLE, 0).coverage())
    assert "Nothing of it could be read." in texts(unread)
    goes_on = texts(drawn(Layer().blocks(1).put(UNREADABLE, 0).coverage()))
    assert any("goes on beyond" in text for text in goes_on)


def test_a_huge_card_with_little_on_it_has_a_small_picture_that_shows_every_block():
    layer = Layer().put(ZEROS, 40 << 30).blocks(4000).put(BLOCK_DAMAGED, 512).blocks(900, 1)
    layer.put(ONES, 24 << 30)
    svg = picture(layer.coverage())
    assert len(svg) < 100_000
    seen = see(layer.ranges)
    assert len(overview(seen, layer.at).worst) <= 4000
    assert ("damaged block", (40 << 30) + 4000 * 512, (40 << 30) + 4000 * 512 + 511) in tooltips(
        ElementTree.fromstring(svg)
    )


def test_a_card_that_changes_from_sector_to_sector_still_has_a_picture_of_less_than_2_mb():
    claim = {"says_of_itself": {"flight": "5e0b7d9a", "boot": 1, "number": 123456}, "why": "check sum wrong"}
    for pairs in (3000, 50_000):  # as many runs of cells as there can be; as many ranges as there can be
        layer = Layer()
        for _ in range(pairs):
            layer.blocks(1).put(BLOCK_DAMAGED, 512, **claim)
        assert len(picture(layer.coverage())) < 2_000_000


def test_each_of_several_sources_has_its_picture(tmp_path):
    sources = [Layer().blocks(3).coverage("a.img"), Layer().put(OTHER, 700).coverage("b.bin")]
    write_flights(tmp_path / "out", [], Recovered([], Ledger(sources)))
    pictures = {path.name: path.read_text("utf-8") for path in (tmp_path / "out").glob("*.svg")}
    assert pictures == {"card-1.svg": picture(sources[0]), "card-2.svg": picture(sources[1])}
