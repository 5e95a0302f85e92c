"""Prepare a folder that the virtual board flies: tape, board's configuration, card."""

import json
import shutil
from pathlib import Path

import numpy as np

from onboard.firmware.settings import FILE_NAME
from onboard.simulator.board.tape import INDEX_NAME, SENTENCES_ROW
from onboard.simulator.cards import make_card
from onboard.simulator.world.flight import fly
from onboard.simulator.world.gnss import gnss_sentences
from onboard.simulator.world.sensors import device_streams

CARD_NAME = "card.img"
DRIFT_PPM = 20  # of the board's crystal; a usual one is within 30 ppm (common practice, no source)
GNSS_BAUD = 9600


def flight_identity(seed):
    """The four bytes that name a simulated flight."""
    return np.random.default_rng([seed, 4]).integers(0, 256, 4, dtype=np.uint8).tobytes()


def board_settings(mission, flight):
    """The board's configuration as a dict, from the mission file.

    mission: a Mission; flight: 4 bytes. The keys are those that firmware/settings.py reads.
    """
    battery = mission.battery
    rates = mission.rates
    return {
        "payload": mission.payload.name,
        "flight": flight.hex(),
        "baud": GNSS_BAUD,
        "parity": [mission.parity.depth, mission.parity.rate],
        "rates": {
            "pressure": rates.pressure_ms,
            "air": rates.air_ms,
            "motion": rates.motion_ms,
            "power": rates.power_ms,
            "health": rates.health_ms,
            "manifest": rates.manifest_ms,
        },
        "sensors": {
            "barometer": [mission.barometer.chip],  # its words come from the chip itself
            "outside_temperature": [
                mission.outside_temperature.chip, round(mission.outside_temperature.reference_ohm)
            ],
            "humidity": [mission.humidity.chip],
            "motion": [
                mission.motion.chip, mission.motion.acceleration_range_g, mission.motion.rate_range_deg_s
            ],
            "board_temperature": [mission.motion.chip],
            "battery": ["adc_divider", battery.reference_mv, round(battery.divider_ratio * 1000)],
            "rail": ["adc_divider", battery.reference_mv, 2000],
            "gnss": [mission.gnss.chip],
        },
    }


def prepare(mission, seed, folder, card_megabytes=16, wait_s=180.0, after_s=240.0, mission_folder="."):
    """Fly the world and write everything that the virtual board needs into a folder.

    folder: Path of a folder that does not exist yet.
    Returns the Truth of the simulated flight.
    """
    folder = Path(folder)
    truth = fly(mission, seed, wait_s=wait_s, after_s=after_s, folder=mission_folder)
    folder.mkdir(parents=True)
    _write_tape(folder, truth, mission, seed)
    (folder / FILE_NAME).write_text(json.dumps(board_settings(mission, flight_identity(seed))), "utf-8")
    parts = {
        "seed": seed % 65536,
        "baud": GNSS_BAUD,
        "card": CARD_NAME,
        "barometer_words": list(mission.barometer.calibration),
    }
    (folder / "board.json").write_text(json.dumps(parts), "utf-8")
    make_card(folder / CARD_NAME, card_megabytes)
    return truth


def copy_prepared(folder, target):
    """A second folder with the same tape and a fresh card, to fly the same on another interpreter."""
    shutil.copytree(folder, target)


def _write_tape(folder, truth, mission, seed):
    streams = device_streams(truth, mission, seed)
    sentences = gnss_sentences(truth, mission, seed)
    index = {
        "length_ms": int(truth.time_s[-1] * 1000),
        "gnss_delay_ms": mission.gnss.output_delay_ms,
        "drift_ppm": DRIFT_PPM,
        "seconds": len(sentences),
        "streams": {},
    }
    for name, stream in streams.items():
        rows = np.ascontiguousarray(stream.rows, dtype="<i4")
        (folder / f"{name}.i32").write_bytes(rows.tobytes())
        index["streams"][name] = [stream.period_ms, rows.shape[1], rows.shape[0]]
    with open(folder / "gnss.bin", "wb") as file:
        for text in sentences:
            if len(text) > SENTENCES_ROW - 2:
                raise ValueError(f"a second of sentences has {len(text)} bytes, more than the tape's row holds")
            file.write(len(text).to_bytes(2, "little") + text.ljust(SENTENCES_ROW - 2, b"\0"))
    (folder / INDEX_NAME).write_text(json.dumps(index), "utf-8")
