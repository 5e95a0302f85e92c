"""`loftbook card` from the command line, and what `loftbook recover` makes of its image and map."""

import gzip
import hashlib
import json
import sys
from pathlib import Path

import pytest
from failing_card import FailingCard

sys.path.insert(0, str(Path(__file__).parents[1] / "recover"))

from built_images import FLIGHT, losses, recovered_keys, written_log

from ground import cli
from ground.card import copy
from ground.recover import recover_source, recover_sources

LOG = written_log(rounds=60)
FIRST = 16  # sector of the log's first block
IMAGE = bytes(512 * FIRST) + b"".join(LOG.envelopes) + bytes(100_000 // 512 * 512)
NOT_READABLE = "its place could not be read"


@pytest.fixture
def loftbook(capsys, tmp_path, monkeypatch):
    """Runs a command line in this process, in a folder with a card: returns exit code, output, errors."""
    monkeypatch.chdir(tmp_path)
    Path("sdX").write_bytes(IMAGE)

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main(list(arguments))
        out, err = capsys.readouterr()
        return ended.value.code or 0, out, err

    return run


def test_a_good_card_is_copied_and_the_next_command_is_named(loftbook):
    code, out, err = loftbook("card", "sdX", "-o", "napraforgo-card.img")
    assert (code, err) == (0, "")
    assert Path("napraforgo-card.img").read_bytes() == IMAGE
    assert out.splitlines() == [
        f"Reading sdX, {len(IMAGE)} bytes. It is opened for reading only: nothing is written to it.",
        "Writing napraforgo-card.img. Please wait; Ctrl-C stops, and leaves nothing behind.",
        f"Copied sdX to napraforgo-card.img: {len(IMAGE)} bytes.",
        f"SHA-256: {hashlib.sha256(IMAGE).hexdigest()}",
        "Every byte could be read; napraforgo-card.img.map.json says so.",
        "Next: loftbook recover napraforgo-card.img -o napraforgo-card",
    ]
    code, out, _ = loftbook(*out.splitlines()[-1].split()[2:])
    assert code == 0
    assert json.loads(Path("napraforgo-card/ledger.json").read_text("utf-8"))["losses"] == []


def test_a_card_with_bad_places_ends_in_4_and_recover_knows_them(loftbook, monkeypatch):
    bad = [2, FIRST + 4, FIRST + 5, FIRST + 11]
    with monkeypatch.context() as patch:
        FailingCard(patch, "sdX", bad=bad)
        code, out, err = loftbook("card", "sdX", "-o", "copy")
    assert (code, err) == (4, "")
    assert "Could not be read: 2048 bytes in 3 places; zeros in the image, listed in copy.map.json." in out
    assert out.splitlines()[-1] == "Next: loftbook recover copy -o copy-recovered"
    assert loftbook("recover", "copy", "-o", "copy-recovered")[0] == 4
    ledger = json.loads(Path("copy-recovered/ledger.json").read_text("utf-8"))
    assert ledger["source"] == {"name": "copy", "size": len(IMAGE), "map": "copy.map.json"}
    unreadable = [item for item in ledger["ranges"] if item["state"] == "unreadable"]
    assert [(item["offset"], item["length"]) for item in unreadable] == [
        (1024, 512), ((FIRST + 4) * 512, 1024), ((FIRST + 11) * 512, 512)
    ]
    assert [(loss["first_number"], loss["last_number"], loss["reason"]) for loss in ledger["losses"]] == [
        (4, 5, NOT_READABLE), (11, 11, NOT_READABLE)
    ]


def test_a_card_that_goes_away_is_told_with_what_to_do(loftbook, monkeypatch):
    Path("sdX").write_bytes(IMAGE + bytes(3 << 20))
    FailingCard(monkeypatch, "sdX", gone_after=2)
    code, out, _ = loftbook("card", "sdX", "-o", "copy.img")
    assert code == 4
    assert "sdX stopped answering before its end. Take it out, put it in again and copy it once more" in out


def test_two_copies_of_a_failing_card_make_a_whole_one(tmp_path, monkeypatch):
    (tmp_path / "sdX").write_bytes(IMAGE)
    images = [tmp_path / "first.img", tmp_path / "second.img"]
    for image, bad in zip(images, ([FIRST + 4, FIRST + 5], [FIRST + 5, FIRST + 9]), strict=True):
        with monkeypatch.context() as patch:
            FailingCard(patch, "sdX", bad=bad)
            copy.copy_card(tmp_path / "sdX", image)
    recovered = recover_sources(images)
    assert losses(recovered) == [(1, 5, 5, NOT_READABLE)]
    assert recovered_keys(recovered.boots[0], FLIGHT) == LOG.keys(but={5})


def test_one_copy_makes_good_what_could_not_be_read_in_another(tmp_path, monkeypatch):
    (tmp_path / "sdX").write_bytes(IMAGE)
    images = [tmp_path / "first.img", tmp_path / "second.img"]
    for image, bad in zip(images, ([FIRST + 4, FIRST + 5], [FIRST + 9]), strict=True):
        with monkeypatch.context() as patch:
            FailingCard(patch, "sdX", bad=bad)
            copy.copy_card(tmp_path / "sdX", image)
    recovered = recover_sources(images)
    assert losses(recovered) == []
    assert not recovered.ledger.has_losses
    assert recovered.ledger.bytes_by_state()["unreadable"] == 3 * 512


def mapped(tmp_path, change=lambda content: None, name="card.img", data=None):
    """Recovered of an image of which sector FIRST + 4 could not be read, its map changed by a function."""
    blank = bytearray(IMAGE)
    blank[(FIRST + 4) * 512:(FIRST + 5) * 512] = bytes(512)
    (tmp_path / name).write_bytes(blank if data is None else data(bytes(blank)))
    content = {
        "format": "loftbook-card-map", "version": 1, "device": "sdX", "size": len(IMAGE), "sha256": "0" * 64,
        "unreadable": [{"offset": (FIRST + 4) * 512, "length": 512}], "retries": 12,
    }
    changed = change(content)
    text = changed if isinstance(changed, str) else json.dumps(content)
    (tmp_path / "card.img.map.json").write_text(text, "utf-8")
    recovered = recover_source(tmp_path / name)
    recovered.ledger.check()
    return recovered


def test_the_map_of_an_image_is_found_by_its_name(tmp_path):
    assert losses(mapped(tmp_path)) == [(1, 4, 4, NOT_READABLE)]


def test_the_map_of_an_image_that_was_compressed_since_is_found_too(tmp_path):
    packed = mapped(tmp_path, name="card.img.gz", data=gzip.compress)
    assert losses(packed) == [(1, 4, 4, NOT_READABLE)]
    cut = mapped(tmp_path, name="card.img.gz", data=lambda blank: gzip.compress(blank)[:-3000])
    assert losses(cut)[0] == (1, 4, 4, NOT_READABLE)


@pytest.mark.parametrize("change", [
    lambda content: content.update(format="another"), lambda content: content.update(version=2),
    lambda content: content.pop("unreadable"), lambda content: content.update(unreadable=[{"offset": 5}]),
    lambda content: content.update(unreadable=[{"offset": -5, "length": 5}]),
    lambda content: content.update(unreadable=[{"offset": 0, "length": 1.5}]),
    lambda content: content.update(unreadable=[{"offset": 512, "length": 9}, {"offset": 0, "length": 9}]),
    lambda content: content.update(unreadable=[{"offset": len(IMAGE), "length": 1}]),
    lambda content: "[]", lambda content: "{", lambda content: "[" * 100_000, lambda content: "\0",
])
def test_a_map_that_is_none_is_told_and_not_used(tmp_path, change):
    recovered = mapped(tmp_path, change)
    assert recovered.ledger.notes == [
        "card.img.map.json: is no map of a copied card that this program can read; it is not used"
    ]
    assert losses(recovered) == [(1, 4, 4, "wiped: its place holds zeros or ones")]


def test_the_map_of_another_image_is_told_and_not_used(tmp_path):
    recovered = mapped(tmp_path, lambda content: content.update(size=len(IMAGE) + 512))
    assert recovered.ledger.notes == [
        f"card.img.map.json: is of an image of {len(IMAGE) + 512} bytes, this one has {len(IMAGE)}; "
        "it is not used"
    ]


@pytest.mark.parametrize(("arguments", "code", "says"), [
    (("nothing", "-o", "copy.img"), 1, "nothing: no such file; check the name"),
    ((".", "-o", "copy.img"), 1, ".: is a directory; name one log, capture or card image in it"),
    (("sdX", "-o", "sdX"), 1, "sdX: exists already and is not overwritten; name a new image"),
    (("sdX", "-o", "none/copy.img"), 1, "none/copy.img: there is no folder none to put it in; make it first"),
])
def test_what_cannot_start_is_said_in_one_line(loftbook, arguments, code, says):
    before = sorted(Path().iterdir())
    assert loftbook("card", *arguments) == (code, "", f"loftbook: {says}\n")
    assert sorted(Path().iterdir()) == before
    assert Path("sdX").read_bytes() == IMAGE


def test_ctrl_c_ends_in_130_and_leaves_nothing(loftbook, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(copy.CardReader, "read", interrupt)
    code, _, _ = loftbook("card", "sdX", "-o", "copy.img")
    assert code == 130
    assert [path.name for path in Path().iterdir()] == ["sdX"]


def test_the_help_warns_of_what_destroys_cards(loftbook):
    words = " ".join(loftbook("card", "--help")[1].split())
    for warning in ("write-protect switch", '"repair" or format it', "Copy first", "DEVICE is only read"):
        assert warning in words
