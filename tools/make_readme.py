"""Put what the commands really print into README.md, and the pictures that it shows into tests/data/.

    python tools/make_readme.py           run them and write their output
    python tools/make_readme.py --check   exit 1 if the words differ (numbers may move in their last digits)
"""

import json
import re
import shlex
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "README.md"
PICTURE = ROOT / "tests" / "data" / "card-picture.svg"
PLOTS = ("temperature", "track")  # of the report's pictures, those that README.md shows
FOLDER = "loftbook-demo"
LISTEN_S = 12
SECTOR = 512
WIPED = 64  # sectors, more than the parity brings back


def loftbook(*words, cwd):
    done = subprocess.run(
        [sys.executable, "-m", "ground", *words], cwd=cwd, capture_output=True, text=True, encoding="utf-8"
    )
    return done.stdout


def first_lines(folder):
    for name in ("fix", "pressure", "air", "event"):
        lines = (folder / "recovered" / f"{name}.csv").read_text("utf-8").splitlines()
        middle = len(lines) // 2 if name != "event" else 1
        yield f"{name}.csv"
        yield f"  {lines[0]}"
        yield f"  {lines[middle]}"


def followed(cwd):
    """What `follow` prints while a replay runs at sixty times the real pace."""
    replay = subprocess.Popen(
        [sys.executable, "-m", "ground", "replay", f"{FOLDER}/card.img", "--port", "pty", "--speed", "60"],
        cwd=cwd, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )
    device = re.search(r"/dev/\S+", replay.stderr.readline())[0].rstrip(".,;:")
    threading.Thread(target=replay.stderr.read, daemon=True).start()
    printed = loftbook(
        "follow", "--port", device, "--capture", "napraforgo-radio.bin", "--seconds", str(LISTEN_S), cwd=cwd
    )
    replay.terminate()
    replay.wait()
    return printed


def shown(words, base):
    """A command as a user types it, and what it prints."""
    return f"$ loftbook {words}\n" + loftbook(*shlex.split(words), cwd=base)


def built(base):
    """(name, text) of the chapter about the flight computer."""
    mission = "my-payload/mission.toml"
    yield "new", shown("new my-payload", base)
    yield "rehearsal", shown(f"simulate {mission} -o rehearsal --rehearsal loose-card", base)
    # The flight's identity is drawn by chance unless it is named; here it must not change from run to run.
    yield "deploy", shown(f"deploy {mission} --to-folder board --flight 5f3a1c22", base)
    yield "bench", shown(f"simulate {mission} -o bench --deployed board", base)


def example_of(page):
    """The example script that stands in a page."""
    return re.search(r"<!-- example script -->\n```python\n(.*?)```", page, re.DOTALL)[1]


def explained(base, page):
    """(name, text) of the chapter about understanding the flight; leaves the pictures in base/pictures."""
    folder, mission = f"{FOLDER}/recovered", f"--mission {FOLDER}/mission.toml"
    loftbook("report", folder, *mission.split(), "--png", "pictures", cwd=base)
    yield "ask", shown(f"ask {folder} tropopause {mission}", base)
    yield "questions", loftbook("ask", folder, cwd=base)
    yield "export", shown(f"export {folder} -o napraforgo-files", base)
    done = subprocess.run([sys.executable, "-c", example_of(page)], cwd=base, capture_output=True, text=True)
    yield "example", done.stdout + done.stderr


def recovered_again(base):
    """The folder that `recover` makes of the demo's card when a stretch of its log is wiped too."""
    ledger = json.loads((base / FOLDER / "recovered" / "ledger.json").read_text("utf-8"))
    blocks = [item["offset"] for item in ledger["ranges"] if item["state"] == "block"]
    card = bytearray((base / FOLDER / "card.img").read_bytes())
    middle = (blocks[0] + blocks[-1]) // 2 // SECTOR * SECTOR
    card[middle:middle + WIPED * SECTOR] = b"\xff" * (WIPED * SECTOR)
    (base / "napraforgo-card.img").write_bytes(card)
    loftbook("recover", "napraforgo-card.img", "-o", "napraforgo-1", cwd=base)
    return base / "napraforgo-1"


def outputs(page):
    """(what stands in README.md, by the names of its places; the picture of the card; name -> PNG of plots)."""
    with tempfile.TemporaryDirectory() as base:
        demo = loftbook("demo", cwd=base)
        lines = followed(base).splitlines()
        again = recovered_again(Path(base))
        told = dict(explained(base, page))
        plots = {name: (Path(base) / "pictures" / f"{name}.png").read_bytes() for name in PLOTS}
        return {
            "demo": demo,
            **dict(built(base)),
            **told,
            "table": "\n".join(first_lines(Path(base) / FOLDER)) + "\n",
            "account": (again / "account.txt").read_text("utf-8"),
            "follow": "\n".join(["...", *lines[-4:]]) + "\n",
        }, (again / "card.svg").read_text("utf-8"), plots


def words_of(text):
    return re.sub(r"\s+", " ", re.sub(r"-?\d[\d .,:]*", "N ", text)).strip()


def words_in(picture):
    return words_of(" ".join(re.findall(r"<text[^>]*>(.*?)</text>", picture)))


def main():
    page = PAGE.read_text("utf-8")
    fresh = page
    texts, picture, plots = outputs(page)
    for name, text in texts.items():
        pattern = rf"(<!-- {name} output -->\n```\n).*?(```)"
        fresh = re.sub(pattern, lambda match: match[1] + text + match[2], fresh, flags=re.DOTALL)
    if "--check" in sys.argv[1:]:
        shown = PICTURE.read_text("utf-8") if PICTURE.is_file() else ""
        if words_of(fresh) != words_of(page) or words_in(picture) != words_in(shown):
            sys.exit("README.md is stale; run python tools/make_readme.py")
        return
    PAGE.write_text(fresh, "utf-8")
    PICTURE.write_text(picture, "utf-8")
    for name, content in plots.items():
        (PICTURE.parent / f"report-{name}.png").write_bytes(content)


if __name__ == "__main__":
    main()
