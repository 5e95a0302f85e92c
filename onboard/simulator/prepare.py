"""Prepare a folder that the virtual board flies: tape, board's configuration, card."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np

from ground.mission.board import board_settings
from onboard.firmware.settings import FILE_NAME
from onboard.simulator.board.tape import INDEX_NAME, LOW_NAME, SENTENCES_NAME, SENTENCES_ROW
from onboard.simulator.cards import make_card
from onboard.simulator.world.flight import fly
from onboard.simulator.world.gnss import PORTABLE_CEILING_M, gnss_sentences
from onboard.simulator.world.mishaps import NO_MISHAPS
from onboard.simulator.world.sensors import barometer_words, device_streams
from protocol.block import BLOCK_SIZE

CARD_NAME = "card.img"
DRIFT_PPM = 20  # of the board's crystal; a usual one is within 30 ppm (common practice, no source)


def flight_identity(seed):
    """The four bytes that name a simulated flight."""
    return np.random.default_rng([seed, 4]).integers(0, 256, 4, dtype=np.uint8).tobytes()


def prepare(
    mission, seed, folder, card_megabytes=16, wait_s=180.0, after_s=240.0, mission_folder=".", mishaps=NO_MISHAPS
):
    """Fly the world and write everything that the virtual board needs into a folder.

    folder: Path of a folder that does not exist yet; the other parameters are those of fly().
    Returns the Truth of the simulated flight.
    """
    folder = Path(folder)
    truth = fly(mission, seed, wait_s=wait_s, after_s=after_s, folder=mission_folder, mishaps=mishaps)
    folder.mkdir(parents=True)
    _write_tape(folder, truth, mission, seed)
    settings = board_settings(mission, flight_identity(seed))
    (folder / FILE_NAME).write_text(json.dumps(settings), "utf-8")
    sensors = settings["sensors"]
    parts = {
        "seed": seed % 65536,
        "baud": mission.gnss.baud,
        "card": CARD_NAME,
        "chips": {role: [sensors[role][0], address] for role, address in settings["addresses"].items()},
        "roms": [[role, words[1]] for role, words in sensors.items() if words[0] == "ds18b20"],
        "barometer_words": list(barometer_words(mission.barometer)),
    }
    if mission.gnss.chip == "ubx":
        parts["receiver"] = "nav5"  # what it knows of UBX, see board/receiver.py
    if mission.downlink:
        parts["modem_baud"] = mission.downlink.baud
    (folder / "board.json").write_text(json.dumps(parts), "utf-8")
    make_card(folder / CARD_NAME, card_megabytes)
    return truth


def copy_prepared(folder, target):
    """A second folder with the same tape and a fresh card, to fly the same on another interpreter."""
    shutil.copytree(folder, target)


def _write_tape(folder, truth, mission, seed):
    streams = device_streams(truth, mission, seed)
    sentences = gnss_sentences(truth, mission, seed)
    takes_commands = mission.gnss.chip == "ubx"
    index = {
        "length_ms": int(truth.time_s[-1] * 1000),
        "gnss_delay_ms": mission.gnss.output_delay_ms,
        "drift_ppm": DRIFT_PPM,
        "seconds": len(sentences),
        "has_low": takes_commands,
        "streams": {},
    }
    for name, stream in streams.items():
        rows = np.ascontiguousarray(stream.rows, dtype="<i4")
        (folder / f"{name}.i32").write_bytes(rows.tobytes())
        index["streams"][name] = [stream.period_ms, rows.shape[1], rows.shape[0]]
    _write_sentences(folder / SENTENCES_NAME, sentences)
    if takes_commands:
        ceiling_m = min(PORTABLE_CEILING_M, mission.gnss.ceiling_m or PORTABLE_CEILING_M)
        low = replace(mission, gnss=replace(mission.gnss, ceiling_m=ceiling_m))
        _write_sentences(folder / LOW_NAME, gnss_sentences(truth, low, seed))
    (folder / INDEX_NAME).write_text(json.dumps(index), "utf-8")


def _write_sentences(path, sentences):
    with open(path, "wb") as file:
        for text in sentences:
            if len(text) > SENTENCES_ROW - 2:
                raise ValueError(f"a second of sentences has {len(text)} bytes, more than the tape's row holds")
            file.write(len(text).to_bytes(2, "little") + text.ljust(SENTENCES_ROW - 2, b"\0"))


def add_faults(folder, rows, log_blocks=None):
    """Order faults for a prepared folder.

    rows: as simulator/board/faults.py reads them. log_blocks: about so many blocks hold on the card, if it is to fill
    in flight.
    """
    path = Path(folder) / "board.json"
    parts = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**parts, "faults": rows}), "utf-8")
    if log_blocks is not None:
        make_card(Path(folder) / CARD_NAME, 16, log_blocks * BLOCK_SIZE / (1 << 20))
