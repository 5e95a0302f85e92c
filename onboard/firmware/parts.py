# Makes the drivers of the sensors that the configuration names. A driver's module is loaded only if its chip is on
# the board: memory is short.

# The drivers on the I2C bus by role; a chip's module has its name in small letters. They are loaded by name, so that
# the board need not hold the names of all that it does not have.
_DRIVERS = {
    "barometer": "MS5611 BMP280", "outside_temperature": "TMP117", "humidity": "SHT3x", "motion": "MPU6050"
}  # fmt: skip


class Sensors:
    """The drivers of a board's sensors; None for what is not on the board.

    settings: a Settings; board: see Logger. Raises ValueError for a chip that has no driver.
    """

    def __init__(self, settings, board):
        self._sensors = settings.sensors
        self._addresses = settings.addresses
        self._board = board
        self._bus = None  # 1-Wire

    def _on_i2c(self, role, words=()):
        chip = self._sensors[role][0]
        for name in _DRIVERS[role].split(" "):
            if name.lower() == chip:
                driver = getattr(__import__("onboard.firmware." + chip, None, None, (name,)), name)
                if role in self._addresses:
                    return driver(self._board.i2c, *words, address=self._addresses[role])
                return driver(self._board.i2c, *words)
        raise _unknown(role, chip)

    def barometer(self):
        """A driver with words, reset_ms, reset(), read_prom(), start(), proceed(), pressure_pa()."""
        return self._on_i2c("barometer") if "barometer" in self._sensors else None

    def thermometer(self):
        """The outside thermometer: a driver with start(), counts()."""
        role = "outside_temperature"
        if role not in self._sensors:
            return None
        chip = self._sensors[role][0]
        if chip.endswith("_divider"):
            from onboard.firmware.analog import AnalogThermometer

            return AnalogThermometer(self._board.adc(role))
        return self._on_onewire(role) if chip.startswith("ds18") else self._on_i2c(role)

    def humidity(self):
        """A driver with convert(), fetch(), humidity, temperature."""
        return self._on_i2c("humidity") if "humidity" in self._sensors else None

    def motion(self):
        """A driver with start(), read_into(), temperature()."""
        return self._on_i2c("motion", self._sensors["motion"][1:]) if "motion" in self._sensors else None

    def adc(self, role):
        """The ADC input of a role."""
        return self._board.adc(role) if role in self._sensors else None

    def probes(self):
        """Dict number -> driver with start(), counts(); empty if there are none."""
        found = {}
        for role in self._sensors:
            if role.startswith("probe_"):
                found[int(role[6:])] = self._on_onewire(role)
        return found

    def _on_onewire(self, role):
        chip, rom = self._sensors[role]
        if chip != "ds18b20":
            raise _unknown(role, chip)
        if self._bus is None:
            from onboard.firmware.onewire_bus import OneWireBus

            self._bus = OneWireBus(self._board)
        return self._bus.thermometer(rom)


def _unknown(role, chip):
    return ValueError("no driver for the " + role + " chip " + chip)
