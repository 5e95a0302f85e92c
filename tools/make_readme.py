"""Put what the commands really print into README.md.

    python tools/make_readme.py           run them and write their output
    python tools/make_readme.py --check   exit 1 if the words differ (numbers may move in their last digits)
"""

import re
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "README.md"
FOLDER = "loftbook-demo"
LISTEN_S = 12


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


def outputs():
    with tempfile.TemporaryDirectory() as base:
        demo = loftbook("demo", cwd=base)
        lines = followed(base).splitlines()
        return {
            "demo": demo,
            "table": "\n".join(first_lines(Path(base) / FOLDER)) + "\n",
            "follow": "\n".join(["...", *lines[-4:]]) + "\n",
        }


def words_of(text):
    return re.sub(r"\s+", " ", re.sub(r"-?\d[\d .,:]*", "N ", text)).strip()


def main():
    page = PAGE.read_text("utf-8")
    fresh = page
    for name, text in outputs().items():
        pattern = rf"(<!-- {name} output -->\n```\n).*?(```)"
        fresh = re.sub(pattern, lambda match: match[1] + text + match[2], fresh, flags=re.DOTALL)
    if "--check" in sys.argv[1:]:
        if words_of(fresh) != words_of(page):
            sys.exit("README.md is stale; run python tools/make_readme.py")
        return
    PAGE.write_text(fresh, "utf-8")


if __name__ == "__main__":
    main()
