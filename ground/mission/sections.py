"""The sections of mission.toml, one frozen dataclass each.

The fields are the keys of the file, so a key exists in exactly one place: its name, its type, its
default, its limits and, by its suffix, its unit.
"""

from dataclasses import MISSING, dataclass, field


def _number(least, most, default=MISSING):
    return field(default=default, metadata={"least": least, "most": most})


def _one_of(*known, default=MISSING):
    return field(default=default, metadata={"known": known})


@dataclass(frozen=True)
class Payload:
    name: str
    mass_kg: float = _number(0.001, 100)  # everything below the balloon's neck: payload, line, parachute


@dataclass(frozen=True)
class Launch:
    site: str
    latitude_deg: float = _number(-90, 90)
    longitude_deg: float = _number(-180, 180)
    height_m: float = _number(-430, 6000)  # above mean sea level
    utc: str = field()  # ISO 8601, ends in Z
    landing_height_m: float = _number(-430, 6000)  # ground height expected where it comes down


@dataclass(frozen=True)
class Balloon:
    mass_kg: float = _number(0.001, 20)
    burst_diameter_m: float = _number(0.1, 50)
    free_lift_kg: float = _number(0.001, 50)  # lift left over after balloon and payload are carried
    gas: str = _one_of("helium", "hydrogen", default="helium")
    # In dense air, where the flow around the balloon is turbulent, and high up, where it is not: see the
    # simulator's balloon.py.
    drag_coefficient: float = _number(0.01, 5, 0.30)
    drag_coefficient_thin_air: float = _number(0.01, 5, 0.50)


@dataclass(frozen=True)
class Parachute:
    drag_area_m2: float = _number(0.001, 100)  # drag coefficient times area


@dataclass(frozen=True)
class Barometer:
    chip: str = _one_of("ms5611", "bmp280", "none", default="ms5611")
    address: int = _one_of(0x76, 0x77, default=0x77)  # on the I2C bus
    calibration: tuple = ()  # of the simulated chip; a real one tells its own
    noise_pa: float = _number(0, 1000, 1.5)


@dataclass(frozen=True)
class OutsideTemperature:
    chip: str = _one_of(
        "pt1000_divider", "ntc_divider", "tmp117", "ds18b20", "none", default="pt1000_divider"
    )
    reference_ohm: float = _number(1, 1e7, 1000.0)  # the resistor between the reference and the thermometer
    steinhart_hart: tuple = ()  # ntc_divider: A, B, C
    address: int = _one_of(0x48, 0x49, 0x4A, 0x4B, default=0x48)  # tmp117, on the I2C bus
    rom: str = ""  # ds18b20: its 16 hexadecimal digits, family code first
    time_constant_s: float = _number(0.01, 1000, 6.0)
    noise_k: float = _number(0, 50, 0.05)


@dataclass(frozen=True)
class Probe:
    name: str
    rom: str  # 16 hexadecimal digits, family code first
    chip: str = _one_of("ds18b20", default="ds18b20")


@dataclass(frozen=True)
class Humidity:
    chip: str = _one_of("sht3x", "none", default="sht3x")
    address: int = _one_of(0x44, 0x45, default=0x44)


@dataclass(frozen=True)
class Motion:
    chip: str = _one_of("mpu6050", "none", default="mpu6050")
    address: int = _one_of(0x68, 0x69, default=0x68)
    acceleration_range_g: int = _one_of(2, 4, 8, 16, default=16)
    rate_range_deg_s: int = _one_of(250, 500, 1000, 2000, default=2000)


@dataclass(frozen=True)
class Gnss:
    chip: str = _one_of("nmea", "ubx", default="nmea")
    baud: int = _one_of(4800, 9600, 19200, 38400, 57600, 115200, default=9600)
    dynamic_model: int = _one_of(6, 7, 8, default=8)  # ubx: airborne below 1 g, 2 g, 4 g
    ceiling_m: float = _number(0, 1e6, 0.0)  # reports nothing above this height; 0 = no ceiling
    noise_m: float = _number(0, 10000, 2.5)
    output_delay_ms: int = _number(0, 900, 120)  # from the epoch of a fix to its first character


@dataclass(frozen=True)
class Battery:
    cells: int = _number(1, 12, 3)
    capacity_mah: float = _number(1, 1e6, 3000.0)
    divider_ratio: float = _number(1, 100, 3.0)
    reference_mv: int = _number(500, 5500, 3300)


@dataclass(frozen=True)
class Corrections:
    """What is added to readings when a flight is explained, found in a test against something better."""

    barometer_hpa: float = _number(-50, 50, 0.0)
    outside_temperature_k: float = _number(-20, 20, 0.0)
    humidity_percent: float = _number(-50, 50, 0.0)
    battery_mv: float = _number(-2000, 2000, 0.0)


@dataclass(frozen=True)
class Rates:
    # With these rates, a block is nearly full at the age at which it is closed.
    pressure_ms: int = _number(50, 3600000, 200)
    air_ms: int = _number(50, 3600000, 1000)
    motion_ms: int = _number(10, 3600000, 100)
    power_ms: int = _number(50, 3600000, 5000)
    probe_ms: int = _number(1000, 3600000, 2000)  # a DS18B20 converts for 750 ms
    health_ms: int = _number(1000, 3600000, 10000)
    manifest_ms: int = _number(10000, 3600000, 300000)


@dataclass(frozen=True)
class Parity:
    depth: int = _number(0, 64, 16)  # so many lost blocks in a row come back; 0 switches parity off
    rate: int = _number(1, 64, 10)  # data blocks a parity block


@dataclass(frozen=True)
class Switch:
    """An output that is on while ALL of its conditions hold."""

    name: str  # one word
    pin: int = _number(0, 48)
    phases: tuple = ()  # () = all
    above_m: float | None = _number(-430, 60000, None)
    below_m: float | None = _number(-430, 60000, None)
    after_s: int | None = _number(0, 86400, None)  # since this phase was entered
    until_landed_s: int | None = _number(0, 86400, None)  # once falling, on until so long after landing
    battery_above_mv: int | None = _number(0, 60000, None)
    battery_below_mv: int | None = _number(0, 60000, None)
    temperature_above_c: float | None = _number(-100, 125, None)
    temperature_below_c: float | None = _number(-100, 125, None)
    temperature_of: str = _one_of("outside", "board", default="outside")
    without_data: str = _one_of("off", "on", default="off")  # what it is while a needed sensor is out
    inverted: bool = False  # the pin is low while the output is on
    blink_on_ms: int = _number(0, 60000, 0)  # 0 = steady
    blink_period_ms: int = _number(0, 600000, 0)


@dataclass(frozen=True)
class Downlink:
    baud: int = _one_of(1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, default=9600)  # of the modem
    period_s: int = _number(1, 3600, 10)
    landed_period_s: int = _number(1, 3600, 5)
    low_battery_mv: int = _number(0, 60000, 4000)  # below it, low_battery_period_s counts
    low_battery_period_s: int = _number(1, 3600, 60)
    duty_percent: float = _number(0.1, 100, 10.0)  # of the time over the last hour that it may transmit


@dataclass(frozen=True)
class Pins:
    """Numbers of the processor's pins; the defaults suit the common RP2040 board with 40 pins."""

    board: str = _one_of("rp2040", "rp2350", "esp32", default="rp2040")
    i2c_id: int = _number(0, 3, 0)
    i2c_sda: int = _number(0, 48, 4)
    i2c_scl: int = _number(0, 48, 5)
    i2c_hz: int = _number(10000, 400000, 400000)
    gnss_uart: int = _number(0, 3, 0)
    gnss_tx: int = _number(0, 48, 0)
    gnss_rx: int = _number(0, 48, 1)
    card_spi: int = _number(0, 3, 0)
    card_sck: int = _number(0, 48, 18)
    card_mosi: int = _number(0, 48, 19)
    card_miso: int = _number(0, 48, 16)
    card_cs: int = _number(0, 48, 17)
    onewire: int = _number(0, 48, 22)
    outside_temperature_adc: int = _number(0, 48, 26)
    battery_adc: int = _number(0, 48, 27)
    rail_adc: int = _number(0, 48, 28)
    downlink_uart: int = _number(0, 3, 1)
    downlink_tx: int = _number(0, 48, 8)
    downlink_rx: int = _number(0, 48, 9)
    test_mode: int = _number(0, 48, 14)  # input, pulled up; low at power-on = ground test


def _section(kind):
    return field(default_factory=kind)


@dataclass(frozen=True)
class Mission:
    payload: Payload
    launch: Launch
    balloon: Balloon
    parachute: Parachute
    sounding: str = ""  # a file beside mission.toml, or the name of one that ships here
    barometer: Barometer = _section(Barometer)
    outside_temperature: OutsideTemperature = _section(OutsideTemperature)
    probes: tuple[Probe, ...] = ()
    humidity: Humidity = _section(Humidity)
    motion: Motion = _section(Motion)
    gnss: Gnss = _section(Gnss)
    battery: Battery = _section(Battery)
    corrections: Corrections = _section(Corrections)
    rates: Rates = _section(Rates)
    parity: Parity = _section(Parity)
    switches: tuple[Switch, ...] = ()
    downlink: Downlink | None = None
    pins: Pins = _section(Pins)
