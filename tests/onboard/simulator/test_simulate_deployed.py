"""`loftbook simulate --deployed`: what deploy made runs unchanged; what it tells and what it refuses."""

import importlib.util
import shutil
import zlib
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ground.cli import PLUGIN_GROUP, build_app
from ground.errors import LoftbookError
from onboard.simulator.commands import DEMO_MISSION

# It shares no code with the project.
DECODER = Path(__file__).resolve().parents[3] / "tools" / "plain_decoder.py"
FLIGHT = "5f3a1c22"


def run(*words):
    """Returns (exit code, output or the error's line)."""
    commands = {"simulate": "onboard.simulator.commands", "deploy": "onboard.deploy.command"}
    entries = [EntryPoint(name, f"{module}:{name}", PLUGIN_GROUP) for name, module in commands.items()]
    result = CliRunner().invoke(build_app(entries), list(map(str, words)))
    if isinstance(result.exception, LoftbookError):
        return result.exception.exit_code, str(result.exception)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout if result.exit_code == 0 else result.output


def files_of(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """A folder with the mission of a balloon that bursts low, and the files deployed from it."""
    folder = tmp_path_factory.mktemp("base")
    text = DEMO_MISSION.read_text("utf-8")
    text = text.replace("burst_diameter_m = 7.0", "burst_diameter_m = 1.66")
    (folder / "mission.toml").write_text(text, "utf-8")
    code, output = run("deploy", folder / "mission.toml", "--to-folder", folder / "board", "--flight", FLIGHT)
    assert code == 0, output
    return folder


@pytest.fixture
def board(base, tmp_path):
    """A copy of the deployed files."""
    return shutil.copytree(base / "board", tmp_path / "board")


def simulate(base, board, output, *words):
    return run("simulate", base / "mission.toml", "-o", output, "--deployed", board, *words)


def test_what_was_deployed_runs_unchanged_and_its_card_holds_what_the_report_says(base, board, tmp_path):
    before = files_of(board)
    code, told = simulate(base, board, tmp_path / "bench", "--minutes", 4)
    assert code == 0, told
    assert files_of(board) == before
    lines = told.splitlines()
    assert f"  loftbook: Napraforgo-1, flight {FLIGHT} is logging" in lines
    # The configuration's CRC-32 is taken from the file here; the figures come from the other decoder.
    configuration = f"{zlib.crc32((board / 'loftbook.json').read_bytes()):08x}"
    found = plain_scan((tmp_path / "bench" / "card.img").read_bytes())
    assert found["flights"] == {FLIGHT} and found["boots"] == {1}
    assert f"configuration {configuration}\n" in found["manifest"]
    for line in (
        f"  payload        Napraforgo-1, the same as in {board}",
        f"  flight         {FLIGHT}, the same as in {board}",
        f"  configuration  {configuration}, the same as in {board}",
        "  boots          1",
        f"  blocks         {found['blocks']}, {found['blocks']} of them whole",
        f"  records        {found['records']}",
        "  lost           nothing",
    ):
        assert line in lines
    assert found["seconds"] == pytest.approx(4 * 60, abs=2.5)  # what the memory held is gone with the power
    report = (tmp_path / "bench" / "report.txt").read_text("utf-8")
    assert report in told
    assert (tmp_path / "bench" / "recovered" / "summary.txt").exists()


def plain_scan(image):
    """What a card holds, by tools/plain_decoder.py."""
    spec = importlib.util.spec_from_file_location("plain_decoder", DECODER)
    plain = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(plain)
    plain.crc32 = zlib.crc32  # the decoder's own is proven by its tests, and slow
    blocks = [(header, records) for _, what, header, records in plain.scan(image) if what == "block"]
    records = [record for _, records in blocks for record in records]
    pieces = [values for kind, _, values in records if kind == "manifest"]
    return {
        "flights": {header["flight"] for header, _ in blocks},
        "boots": {header["boot"] for header, _ in blocks if not header["flags"]},
        "blocks": len(blocks),
        "records": len(records),
        "seconds": max(tick for _, tick, _ in records) / 1000,
        "manifest": plain.join_manifest(pieces),
    }


def test_a_folder_of_another_configuration_is_refused(base, board, tmp_path):
    other = tmp_path / "mission.toml"
    text = (base / "mission.toml").read_text("utf-8")
    other.write_text(text.replace("rate = 10 ", "rate = 8 "), "utf-8")
    assert other.read_text("utf-8") != text
    code, told = run("simulate", other, "-o", tmp_path / "bench", "--deployed", board)
    assert code == 1 and "\n" not in told
    assert "(parity)" in told and "deploy again" in told
    assert not (tmp_path / "bench").exists()


def cut(path):
    path.write_text(path.read_text("utf-8")[:-40], "utf-8")


SPOILED = {
    "no folder": (shutil.rmtree, "no such folder"),
    "a file": (lambda board: (shutil.rmtree(board), board.write_text("")), "is no folder"),
    "no main.py": (lambda board: (board / "main.py").unlink(), "there is no main.py"),
    "no configuration": (lambda board: (board / "loftbook.json").unlink(), "there is no loftbook.json"),
    "no modules": (lambda board: shutil.rmtree(board / "lib"), "there is no lib"),
    "half a configuration": (lambda board: cut(board / "loftbook.json"), "the board would refuse it"),
    "a list": (lambda board: (board / "loftbook.json").write_text("[1]"), "the board would refuse it"),
}


@pytest.mark.parametrize("name", SPOILED)
def test_a_folder_that_deploy_did_not_make_is_refused_in_one_line(base, board, tmp_path, name):
    spoil, problem = SPOILED[name]
    spoil(board)
    code, told = simulate(base, board, tmp_path / "bench")
    assert code == 1 and problem in told and told.startswith(str(board)) and "\n" not in told
    assert not (tmp_path / "bench").exists()


STUCK = b"""\
import machine, time
print("loftbook: waiting for ever")
machine.WDT(8000)
while True:
    time.sleep_ms(100)
"""


@pytest.mark.parametrize("name, content, problem", [
    ("lib/protocol/tick.mpy", b"", "MicroPython stopped before the power went off"),
    ("main.py", STUCK, "watchdog reset; the console's last words are 'loftbook: waiting for ever'"),
], ids=["empty module", "stuck"])  # fmt: skip
def test_files_that_do_not_run_are_told_in_one_line_and_leave_nothing(
    base, board, tmp_path, name, content, problem
):
    (board / name).write_bytes(content)
    code, told = simulate(base, board, tmp_path / "bench", "--minutes", 1)
    assert code == 1 and problem in told and "\n" not in told
    assert [path.name for path in tmp_path.iterdir()] == ["board"]


@pytest.mark.parametrize("words, problem", [
    (("--deployed", "board", "--rehearsal", "calm"), "leave --fault, --mishap and --rehearsal out"),
    (("--deployed", "board", "--fault", "silent barometer 0 10"), "leave --fault, --mishap and --rehearsal out"),
    (("--deployed", "board", "--interpreter", "cpython"), "--interpreter unix or wasm"),
    (("--deployed", "board", "--minutes", "0"), "'--minutes'"),
    (("--minutes", "5"), "--minutes goes with --deployed"),
])  # fmt: skip
def test_what_does_not_go_together_is_wrong_usage(base, tmp_path, words, problem):
    code, told = run("simulate", base / "mission.toml", "-o", tmp_path / "bench", *words)
    assert code == 2
    assert told.splitlines()[-1].startswith("Error: ") and problem in told.splitlines()[-1]
    assert not (tmp_path / "bench").exists()
