"""The processor's pins: none used twice, and each able to do what it is for."""

from ground.mission.wrong import Wrong

# What each pin of the RP2040 can be, by bus number: the lowest pin, and every so many pins again.
# Source: Raspberry Pi, RP2040 datasheet, 1.4.3 "GPIO functions" (from memory).
_I2C = {"sda": (0, 2), "scl": (1, 3)}
_SPI = {"miso": (0, 8), "sck": (2, 10), "mosi": (3, 11)}
_UART_TX = {0: (0, 12, 16, 28), 1: (4, 8, 20, 24)}
_RP2040_LAST = 29
_RP2040_ADC = (26, 27, 28, 29)
_RP2350_ADC = (*_RP2040_ADC, *range(40, 48))  # 40 and more in the larger of its packages

_ALWAYS = (
    "i2c_sda", "i2c_scl", "gnss_tx", "gnss_rx", "card_sck", "card_mosi", "card_miso", "card_cs",
    "battery_adc", "rail_adc", "test_mode",
)


def used_pins(mission):
    """The keys of the section pins that this payload uses."""
    used = list(_ALWAYS)
    chip = mission.outside_temperature.chip
    if chip.endswith("_divider"):
        used.append("outside_temperature_adc")
    if chip == "ds18b20" or mission.probes:
        used.append("onewire")
    if mission.downlink:
        used += ["downlink_tx", "downlink_rx"]
    return used


def check_pins(mission):
    """Raise Wrong if a pin has two uses, or cannot do what it is for."""
    taken = {}
    places = [("pins", key) for key in used_pins(mission)]
    for path in places:
        _take(taken, getattr(mission.pins, path[1]), path, f"pins.{path[1]}")
    for number, switch in enumerate(mission.switches):
        _take(taken, switch.pin, ("switches", number, "pin"), f"the switch {switch.name}")
    if mission.downlink and mission.pins.gnss_uart == mission.pins.downlink_uart:
        words = f"is {mission.pins.downlink_uart}, as gnss_uart is; each needs its own"
        raise Wrong(("pins", "downlink_uart"), words)
    for path in places:
        _check_ability(mission.pins, path)
    if mission.pins.board == "rp2040":
        for number, switch in enumerate(mission.switches):
            if switch.pin > _RP2040_LAST:
                words = f"is {switch.pin}; the rp2040 has pins 0 to {_RP2040_LAST}"
                raise Wrong(("switches", number, "pin"), words)


def _take(taken, pin, path, use):
    if pin in taken:
        raise Wrong(path, f"is {pin}, which {taken[pin]} uses already; choose another pin")
    taken[pin] = use


def _check_ability(pins, path):
    key = path[1]
    pin = getattr(pins, key)
    allowed = _allowed(pins, key)
    if allowed is not None and pin not in allowed:
        numbers = ", ".join(map(str, allowed))
        raise Wrong(path, f"is {pin}, which cannot be that on the {pins.board}; it can be {numbers}")


def _allowed(pins, key):
    """The pins that this key can have, None if this program does not know."""
    bus, _, line = key.rpartition("_")
    if line == "adc":
        return {"rp2040": _RP2040_ADC, "rp2350": _RP2350_ADC}.get(pins.board)
    if pins.board != "rp2040":
        return None
    every = range(_RP2040_LAST + 1)
    if bus == "i2c" and pins.i2c_id in (0, 1):
        return [pin for pin in every if pin % 4 == _I2C[line][pins.i2c_id]]
    if bus == "card" and line in _SPI and pins.card_spi in (0, 1):
        first = _SPI[line][pins.card_spi]
        return [pin for pin in every if pin % 16 // 8 == first // 8 and pin % 4 == first % 4]
    if line in ("tx", "rx"):
        number = pins.gnss_uart if bus == "gnss" else pins.downlink_uart
        return [pin + (line == "rx") for pin in _UART_TX.get(number, ())]
    return every
