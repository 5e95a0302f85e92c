"""The wiring page: its pins are the defaults of mission.toml, its drawing is one."""

import re
from dataclasses import fields
from pathlib import Path
from xml.etree import ElementTree

import onboard
from ground.mission.sections import Pins

FOLDER = Path(onboard.__file__).parent
PAGE = (FOLDER / "WIRING.md").read_text("utf-8")
DRAWING = ElementTree.parse(FOLDER / "wiring.svg")
SVG = "{http://www.w3.org/2000/svg}"

# The header of the common RP2040 board with 40 pins: pin -> GP. Source: its published pinout, from memory.
HEADER = {
    1: 0, 2: 1, 4: 2, 5: 3, 6: 4, 7: 5, 9: 6, 10: 7, 11: 8, 12: 9, 14: 10, 15: 11, 16: 12, 17: 13, 19: 14,
    20: 15, 21: 16, 22: 17, 24: 18, 25: 19, 26: 20, 27: 21, 29: 22, 31: 26, 32: 27, 34: 28,
}  # fmt: skip

ROWS = re.findall(r"^\| `(\w+)` \| (\d+) \| (\d+) \|", PAGE, re.M)
TABLE = {key: (int(gp), int(pin)) for key, gp, pin in ROWS}
DEFAULTS = {field.name: field.default for field in fields(Pins)}
NO_PINS = {"board", "i2c_id", "i2c_hz", "gnss_uart", "card_spi", "downlink_uart"}


def test_the_table_lists_every_pin_of_the_mission_file_with_its_default():
    assert {key: gp for key, (gp, _) in TABLE.items()} == {
        key: number for key, number in DEFAULTS.items() if key not in NO_PINS
    }


def test_the_units_inside_the_processor_are_the_defaults_too():
    told = {key: int(number) for key, number in re.findall(r"`(\w+)` = (\d+)", PAGE)}
    assert told == {key: DEFAULTS[key] for key in NO_PINS - {"board"}}


def test_each_gp_is_at_the_pin_where_the_board_has_it():
    assert all(HEADER[pin] == gp for gp, pin in TABLE.values())
    assert len({pin for _, pin in TABLE.values()}) == len(TABLE)


def test_each_function_is_on_a_pin_that_can_do_it():
    """RP2040 data sheet, table "GPIO functions": SPI0, UART0 and I2C0 repeat every 8 or 4 pins; ADC on GP26
    to 28.
    From memory.
    """
    spi = {"miso": 0, "cs": 1, "sck": 2, "mosi": 3}
    for role, place in spi.items():
        gp = TABLE[f"card_{role}"][0]
        assert gp % 4 == place and gp // 8 % 2 == DEFAULTS["card_spi"]
    assert TABLE["i2c_sda"][0] % 4 == 2 * DEFAULTS["i2c_id"]
    assert TABLE["i2c_scl"][0] == TABLE["i2c_sda"][0] + 1
    uarts = {0: {0, 12, 16, 28}, 1: {4, 8, 20, 24}}
    for name in ("gnss", "downlink"):
        assert TABLE[f"{name}_tx"][0] in uarts[DEFAULTS[f"{name}_uart"]]
        assert TABLE[f"{name}_rx"][0] == TABLE[f"{name}_tx"][0] + 1
    assert all(26 <= TABLE[f"{role}_adc"][0] <= 28 for role in ("outside_temperature", "battery", "rail"))


def test_the_drawing_has_the_boards_header():
    """Each pin's number stands beside its name: same height within a few units, on the same side."""
    texts = [(float(t.get("x")), float(t.get("y")), t.text) for t in DRAWING.iter(f"{SVG}text")]
    named = {name: (x, y) for x, y, name in texts if re.fullmatch(r"GP\d+", name)}
    assert len(named) == len(HEADER)
    for pin, gp in HEADER.items():
        x, y = named[f"GP{gp}"]
        beside = [n for nx, ny, n in texts if abs(ny - y) < 16 and abs(nx - x) < 40 and n.isdigit()]
        assert beside == [str(pin)]


def test_a_wire_leaves_every_pin_that_the_table_names_and_no_other_of_the_inputs_and_outputs():
    ends = {
        (round(float(x)), round(float(y)))
        for line in DRAWING.iter(f"{SVG}polyline")
        for x, y in (point.split(",") for point in line.get("points").split())
    }
    pins = [circle for circle in DRAWING.iter(f"{SVG}circle") if circle.get("r") == "7"]
    circles = [(float(pin.get("cx")), float(pin.get("cy"))) for pin in pins]
    assert len(circles) == 40
    left, right = sorted({x for x, _ in circles})
    heights = sorted({y for _, y in circles})
    wired = set()
    for pin in HEADER:
        x, y = (left - 7, heights[pin - 1]) if pin <= 20 else (right + 7, heights[40 - pin])
        if (round(x), round(y)) in ends:
            wired.add(pin)
    assert wired == {pin for _, pin in TABLE.values()} | {20}  # 20: the example of a switch


def test_the_page_keeps_its_cautions():
    text = PAGE.replace("\n", " ")
    for word in ("licence", "without its antenna", "spectrum authority", "Never charge", "transport"):
        assert word in text
    assert "aviation authority" in text
