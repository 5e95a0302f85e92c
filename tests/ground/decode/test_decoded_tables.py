"""Tables of SI quantities from a boot's records."""

from dataclasses import replace

import numpy as np
import pytest
from made_flight import OWN, SENSORS, START_UTC_MS, boot_log, pt1000_counts, records_of

from ground.decode import decode_flight, group_boots
from ground.decode.columns import column_name, decimals_of
from ground.layout import FieldLayout, KindLayout
from ground.recover.result import KindRecords
from protocol.table import EVENTS, event_code

SECONDS = np.arange(100)


def fix_records(seconds=SECONDS, start_ms=START_UTC_MS, **fields):
    utc_ms = start_ms + 1000 * seconds
    return records_of(
        "fix",
        1000 * seconds + 120,
        quality=1,
        day=utc_ms // 86_400_000,
        time_of_day=utc_ms % 86_400_000,
        **fields,
    )


def with_sensors(log, **sensors):
    return replace(log, manifest=replace(log.manifest, sensors={**SENSORS, **sensors}))


def test_counts_become_quantities_with_units_in_their_names():
    # The chips' own tests hold the sources; here each lands in the right column.
    records = {
        "pressure": records_of("pressure", [500], pressure_counts=9085466, temperature_counts=8569150),
        "air": records_of("air", [600], temperature_counts=pt1000_counts([-50.0]), humidity_counts=0x6666),
        "motion": records_of("motion", [700], acceleration_z_counts=2048, rate_x_counts=164),
        "power": records_of("power", [800], battery_counts=28000, board_temperature_counts=-521),
    }
    tables = decode_flight([boot_log(records)]).tables
    assert tables["pressure"].columns["pressure_hPa"][0] == pytest.approx(1000.09, abs=0.01)
    assert tables["pressure"].columns["barometer_temperature_degC"][0] == 20.07
    # ISO 2533: 1000.09 hPa lies 110 m up (13.16 hPa below 1013.25 at 8.33 m per hPa).
    assert tables["pressure"].columns["pressure_height_m"][0] == pytest.approx(110, abs=1)
    assert tables["air"].columns["temperature_degC"][0] == pytest.approx(-50.0, abs=0.02)
    assert tables["air"].columns["relative_humidity_percent"][0] == pytest.approx(40.0)
    assert np.isnan(tables["air"].columns["humidity_chip_temperature_degC"][0])
    assert tables["motion"].columns["acceleration_z_m_s2"][0] == pytest.approx(9.80665)
    assert tables["motion"].columns["rate_x_deg_s"][0] == pytest.approx(10.0, rel=2e-3)
    assert tables["power"].columns["battery_V"][0] == pytest.approx(28000 / 65535 * 9.9)
    assert tables["power"].columns["board_temperature_degC"][0] == pytest.approx(35.0, abs=0.01)
    for table in tables.values():
        assert not any(name.endswith("_counts") for name in table.columns)


ROMS = {"probe_1": ("ds18b20", ("28ff641d8fdf18c1",)), "probe_2": ("ds18b20", ("28ff641d8fdf18c2",))}


def probe_records(numbers=(1, 2, 1, 2), raw=(401, -401, 402, -32768)):
    ticks = [1000 * (i // 2) for i in range(len(numbers))]
    return records_of("probe", ticks, probe=list(numbers), temperature_counts=list(raw))


def test_each_reading_of_a_probe_is_a_row_with_its_number():
    # DS18B20 data sheet, table 1: 401 is 25.0625 degC, -401 is -25.0625.
    flight = decode_flight([with_sensors(boot_log({"probe": probe_records()}), **ROMS)])
    columns = flight.tables["probe"].columns
    assert columns["tick_ms"].tolist() == [0, 0, 1000, 1000] and columns["probe"].tolist() == [1, 2, 1, 2]
    np.testing.assert_array_equal(columns["temperature_degC"], [25.0625, -25.0625, 25.125, np.nan])
    assert "temperature_counts" not in columns and flight.tables["probe"].decimals["temperature_degC"] == 4
    assert not any("probe" in note for note in flight.notes)


def test_a_probe_that_the_manifest_does_not_list_keeps_its_counts():
    log = with_sensors(boot_log({"probe": probe_records((1, 3, 1, 3))}), **ROMS)
    flight = decode_flight([log])
    columns = flight.tables["probe"].columns
    np.testing.assert_array_equal(columns["temperature_degC"], [25.0625, np.nan, 25.125, np.nan])
    np.testing.assert_array_equal(columns["temperature_counts"], [401, -401, 402, np.nan])
    assert any("probe 3: the manifest does not list it" in note for note in flight.notes)


@pytest.mark.parametrize("sensors", [
    {"probe_1": ("chip_of_tomorrow", ())},
    {"probe_1": ("ds18b20", ("no rom",))},
    {"probe_" + "9" * 5000: ("ds18b20", ())},
])  # fmt: skip
def test_probes_that_cannot_be_converted_leave_counts_and_a_note(sensors):
    log = with_sensors(boot_log({"probe": probe_records((1, 1, 1, 1))}), **sensors)
    flight = decode_flight([log])
    columns = flight.tables["probe"].columns
    assert columns["temperature_counts"][0] == 401 and columns["probe"][0] == 1
    assert "temperature_degC" not in columns
    assert any("counts are left as they are" in note for note in flight.notes)


def test_probes_without_a_manifest_keep_their_counts():
    flight = decode_flight([boot_log({"probe": probe_records()}, manifest=False)])
    assert flight.tables["probe"].columns["temperature_counts"][0] == 401
    assert len(flight.notes) == 2  # no manifest, no fix


@pytest.mark.parametrize("sensor, raw, celsius", [
    (("tmp117", ()), 0xF380 ^ 0x8000, -25.0),  # SNOSD82D, table 7-1
    (("ds18b20", ("28ff641d8fdf18c1",)), 0xFE6F ^ 0x8000, -25.0625),  # data sheet, table 1
    # SRS thermistor calculator, default example: 10000 ohm at 25 degC.
    (("ntc_divider", ("10000", "2.108508173e-3", "7.979204727e-5", "6.535076315e-7")), 65535 // 2, 25.0),
])  # fmt: skip
def test_every_outside_thermometer_lands_in_the_same_column(sensor, raw, celsius):
    log = boot_log({"air": records_of("air", [1, 2], temperature_counts=[raw, 65535])})
    flight = decode_flight([with_sensors(log, outside_temperature=sensor)])
    found = flight.tables["air"].columns["temperature_degC"]
    assert found[0] == pytest.approx(celsius, abs=2e-3) and np.isnan(found[1])


def test_the_bmp280_lands_in_the_columns_of_the_barometer():
    # Bosch BST-BMP280-DS001, section 3.12: 100653.27 Pa, 25.08 degC.
    words = tuple("27504 26435 -1000 36477 -10685 3024 2855 140 -7 15500 -14600 6000".split())
    records = {"pressure": records_of("pressure", [500], pressure_counts=415148, temperature_counts=519888)}
    flight = decode_flight([with_sensors(boot_log(records), barometer=("bmp280", words))])
    columns = flight.tables["pressure"].columns
    assert columns["pressure_hPa"][0] == pytest.approx(1006.5327, abs=1e-4)
    assert columns["barometer_temperature_degC"][0] == pytest.approx(25.08, abs=0.005)


def test_fixes_keep_what_was_logged_and_miss_what_was_not():
    records = fix_records(latitude=234_500_000, longitude=-98_500_000, height=12345, speed=512, hdop=9)
    columns = decode_flight([boot_log({"fix": records})]).tables["fix"].columns
    assert columns["latitude_deg"][0] == 46.9 and columns["longitude_deg"][0] == -19.7
    assert columns["height_m"][0] == 123.45 and columns["ground_speed_m_s"][0] == 5.12
    assert columns["hdop"][0] == 0.9 and columns["quality"][0] == 1
    assert np.isnan(columns["vertical_speed_m_s"]).all() and np.isnan(columns["satellites"]).all()


def test_utc_comes_from_the_boots_own_fixes():
    log = boot_log({"fix": fix_records(), "air": records_of("air", [50_120])})
    tables = decode_flight([log]).tables
    assert str(tables["air"].columns["utc"][0]) == "2026-05-09T08:00:50.000"
    assert (tables["fix"].columns["utc"] == tables["fix"].columns["gnss_utc"]).all()


def test_a_fix_without_quality_does_not_set_the_clock():
    records = fix_records()
    records.values["quality"] = 0
    flight = decode_flight([boot_log({"fix": records})])
    assert flight.clocks == {1: None}
    assert np.isnat(flight.tables["fix"].columns["utc"]).all()


def test_a_boot_without_fixes_has_no_utc_and_says_so():
    first = boot_log({"fix": fix_records(), "air": records_of("air", [1000])}, boot=1)
    second = boot_log({"air": records_of("air", [1000, 2000])}, boot=2)
    flight = decode_flight([first, second])
    air = flight.tables["air"].columns
    assert np.isnat(air["utc"]).tolist() == [False, True, True]
    assert air["boot"].tolist() == [1, 2, 2]
    assert any("boot 2: no fix" in note for note in flight.notes)


def test_a_leap_second_belongs_to_the_next_day():
    # The last leap second so far: 2016-12-31T23:59:60Z (IERS Bulletin C 52); POSIX time repeats.
    records = records_of("fix", [120], quality=1, day=17166, time_of_day=86_400_500)
    columns = decode_flight([boot_log({"fix": records})]).tables["fix"].columns
    assert str(columns["gnss_utc"][0]) == "2017-01-01T00:00:00.500"


def test_an_unknown_chip_leaves_counts_and_a_note():
    log = with_sensors(
        boot_log({"pressure": records_of("pressure", [1], pressure_counts=77, temperature_counts=78)}),
        barometer=("chip_of_tomorrow", ()),
    )
    flight = decode_flight([log])
    columns = flight.tables["pressure"].columns
    assert columns["pressure_counts"][0] == 77 and columns["temperature_counts"][0] == 78
    assert "pressure_hPa" not in columns
    assert any("chip_of_tomorrow" in note for note in flight.notes)


def test_words_that_do_not_fit_leave_counts_and_a_note():
    log = with_sensors(
        boot_log({"power": records_of("power", [1], battery_counts=5)}), battery=("adc_divider", ("x",))
    )
    flight = decode_flight([log])
    assert flight.tables["power"].columns["battery_counts"][0] == 5
    assert any("battery adc_divider" in note for note in flight.notes)


def test_without_a_manifest_counts_stay_counts():
    log = boot_log({"air": records_of("air", [1], temperature_counts=30000)}, manifest=False)
    flight = decode_flight([log])
    assert flight.tables["air"].columns["temperature_counts"][0] == 30000
    assert flight.payload == "" and any("no manifest" in note for note in flight.notes)


def test_a_borrowed_manifest_is_used_and_named():
    log = replace(
        boot_log({"air": records_of("air", [1], humidity_counts=0x6666)}, boot=3), manifest_borrowed=True
    )
    flight = decode_flight([log])
    assert flight.tables["air"].columns["relative_humidity_percent"][0] == pytest.approx(40.0)
    assert any("its manifest was not found" in note for note in flight.notes)


def test_a_kind_of_the_future_is_told_by_its_own_description():
    layout = KindLayout(
        77, "wind",
        (
            FieldLayout("speed", "H", 100, "m/s"),
            FieldLayout("gust", "h", 16, "m/s2"),
            FieldLayout("wet", "B", 1, "%"),
            FieldLayout("light", "I", 1, "count"),
            FieldLayout("boot", "b", 1, "1"),
            FieldLayout("label", "6s", 1, "1"),
        ),
    )  # fmt: skip
    values = np.array(
        [(512, -8, 55, 9, 3, b"fogas"), (65535, -(2**15), 255, 2**32 - 1, -128, b"")], layout.dtype
    )
    log = boot_log({"wind": KindRecords(layout, np.array([5, 6]), values)})
    table = decode_flight([log]).tables["wind"]
    names = [
        "utc",
        "boot",
        "tick_ms",
        "speed_m_s",
        "gust_m_s2",
        "wet_percent",
        "light_counts",
        "wind_boot",
        "label",
        "evidence",
    ]
    assert list(table.columns) == names
    row = {name: column[0] for name, column in table.columns.items()}
    assert (row["speed_m_s"], row["gust_m_s2"], row["wet_percent"], row["light_counts"]) == (
        5.12,
        -0.5,
        55,
        9,
    )
    assert row["wind_boot"] == 3 and row["label"] == "fogas" and row["evidence"] == "proven"
    assert all(np.isnan(table.columns[name][1]) for name in names[3:8]) and table.columns["label"][1] == ""
    assert table.decimals["speed_m_s"] == 2 and table.decimals["gust_m_s2"] == 4


def test_events_are_told_in_words():
    codes = [event_code("phase changed"), event_code("device failed"), event_code("booted"), 250]
    records = records_of("event", [1, 2, 3, 4], code=codes, subject=[1, 5, 4, 0], detail=[130, -110, 12, 0])
    columns = decode_flight([boot_log({"event": records})]).tables["event"].columns
    assert columns["event"].tolist() == ["phase changed", "device failed", "booted", ""]
    assert columns["subject_name"].tolist() == ["climbing", "gnss", "reset cause 4", ""]
    assert columns["detail"].tolist() == [130, -110, 12, 0]


def test_every_event_and_subject_number_has_an_answer():
    codes, subjects = np.meshgrid(np.arange(256), np.arange(256))
    records = records_of("event", np.zeros(65536), code=codes.ravel(), subject=subjects.ravel())
    columns = decode_flight([boot_log({"event": records})]).tables["event"].columns
    assert set(columns["event"]) == {name for _, name in EVENTS} | {""}


def text_records(message, drop=()):
    data, size = message.encode(), OWN["text"].dtype["characters"].itemsize
    pieces = [data[i : i + size] for i in range(0, len(data), size)]
    kept = [i for i in range(len(pieces)) if i not in drop]
    return records_of(
        "text", [10] * len(kept), part=kept, parts=len(pieces), characters=[pieces[i] for i in kept]
    )


def test_a_message_is_put_together_from_its_pieces():
    # A two-byte letter stands across the border between two pieces of 24 bytes.
    message = "x" * 23 + "\u0151 odavan, minden rendben a felho felett"
    columns = decode_flight([boot_log({"text": text_records(message)})]).tables["text"].columns
    assert columns["message"].tolist() == [message, "", ""]
    assert columns["part"].tolist() == [0, 1, 2]


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_message_with_a_lost_piece_is_not_told_as_whole(lost):
    columns = decode_flight([boot_log({"text": text_records("a" * 60, drop=(lost,))})]).tables["text"].columns
    assert set(columns["message"]) == {""}
    assert len(columns["characters"]) == 2


def test_pieces_in_the_wrong_order_are_not_told_as_a_message():
    records = text_records("a" * 24 + "b" * 24 + "c" * 12)
    records.values[:] = records.values[[0, 2, 1]]
    columns = decode_flight([boot_log({"text": records})]).tables["text"].columns
    assert set(columns["message"]) == {""}


def test_boots_with_different_columns_share_a_table():
    known = boot_log({"power": records_of("power", [1], battery_counts=28000)}, boot=1)
    unknown = boot_log({"power": records_of("power", [1], battery_counts=7)}, boot=2, manifest=False)
    columns = decode_flight([known, unknown]).tables["power"].columns
    assert np.isnan(columns["battery_counts"][0]) and columns["battery_counts"][1] == 7
    assert np.isnan(columns["battery_V"][1]) and columns["battery_V"][0] > 4


def test_flights_are_told_apart():
    logs = [boot_log({}, boot=1), boot_log({}, boot=1, flight="ff000000"), boot_log({}, boot=2)]
    groups = group_boots(logs)
    assert [(flight, len(boots)) for flight, boots in groups.items()] == [("1a2b3c4d", 2), ("ff000000", 1)]
    with pytest.raises(ValueError):
        decode_flight(logs)


def test_headings_are_safe_and_carry_the_unit():
    assert column_name("speed", "m/s") == "speed_m_s"
    assert column_name("wet", "%") == "wet_percent"
    assert column_name("a,b\n", '"x"') == "a_b_x"
    assert column_name("raw", "count") == "raw_counts"


@pytest.mark.parametrize("divisor", [1, 2, 3, 7, 10, 16, 100, 340, 1000, 5_000_000, 999_999_999])
def test_decimals_tell_neighbouring_stored_values_apart(divisor):
    decimals = decimals_of(divisor)
    written = {f"{n / divisor:.{decimals}f}" for n in range(1000)}
    assert len(written) == 1000


def test_calibration_words_that_came_after_the_manifest_are_used():
    # TE MS5611-01BA03 data sheet, worked example: 1000.09 hPa.
    message = b"sensor barometer ms5611 40127 36924 23317 23282 33464 28312"
    pieces = [message[at : at + 24].ljust(24, b"\0") for at in range(0, len(message), 24)]
    text = records_of("text", [100] * 3, part=[0, 1, 2], parts=3)
    text.values["characters"] = pieces
    records = {
        "pressure": records_of("pressure", [500], pressure_counts=9085466, temperature_counts=8569150),
        "text": text,
    }
    flight = decode_flight([with_sensors(boot_log(records), barometer=("ms5611", ()))])
    assert flight.tables["pressure"].columns["pressure_hPa"][0] == pytest.approx(1000.09, abs=0.01)
    assert any("barometer answered after the boot" in note for note in flight.notes)
