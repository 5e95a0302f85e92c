"""Recover from real file systems: made by mkfs.vfat and mkfs.exfat, filled, fragmented, deleted,
formatted again.

    python tools/campaign_filesystems.py --seeds 4

FAT16 and FAT32 are filled by mtools as a computer would. exFAT would have to be mounted for that, so
there the pieces of the log are written into the clusters of its data area directly, at the places that
its boot sector tells. Needs the Debian packages dosfstools, mtools and exfatprogs; what is missing is
said and left out.
"""

import argparse
import os
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tools.campaign import foreign  # noqa: E402
from tools.campaign.cases import Case  # noqa: E402
from tools.campaign.expect import MAGIC  # noqa: E402
from tools.campaign.image import SECTOR, Image  # noqa: E402
from tools.campaign.judge import judge  # noqa: E402
from tools.campaign.reading import read  # noqa: E402
from tools.campaign.written import write_log  # noqa: E402

MEGABYTE = 1 << 20
# name: mkfs command before the image's path, megabytes
FAT = {
    "FAT16, clusters of 2 KB": (["mkfs.vfat", "-F", "16", "-s", "4"], 32),
    "FAT16, clusters of 16 KB": (["mkfs.vfat", "-F", "16", "-s", "32"], 96),
    "FAT32, clusters of 512 bytes": (["mkfs.vfat", "-F", "32", "-s", "1"], 48),
    "FAT32, clusters of 4 KB": (["mkfs.vfat", "-F", "32", "-s", "8"], 300),
}
EXFAT = {
    "exFAT, clusters of 4 KB": (["mkfs.exfat", "-c", "4K"], 32),
    "exFAT, clusters of 32 KB": (["mkfs.exfat", "-c", "32K"], 64),
}
FATES = (
    "as it is", "in pieces", "deleted", "deleted, then written over", "formatted again",
    "in pieces, formatted again, then written over", "cut off",
)
LOG = "LOFTBOOK.LOG"
# Debian keeps the makers of file systems outside the path of ordinary users.
SEARCH = os.environ.get("PATH", "") + os.pathsep + "/usr/sbin" + os.pathsep + "/sbin"


def tool(name):
    """Path of a program, None if it is not installed."""
    return shutil.which(name, path=SEARCH)


def call(*command):
    """Run a program; RuntimeError with its words if it fails."""
    environment = {**os.environ, "MTOOLS_SKIP_CHECK": "1"}
    words = [str(word) for word in command]
    done = subprocess.run([tool(words[0]), *words[1:]], capture_output=True, text=True, env=environment)
    if done.returncode:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr.strip() or done.stdout.strip()}")


def make(image, command, megabytes):
    """A new file system in an image that keeps what it held before: a quick format."""
    with open(image, "ab") as file:
        file.truncate(megabytes * MEGABYTE)
    call(*command, image)


class Volume:
    """A FAT file system, filled through mtools."""

    def __init__(self, image, folder):
        self._image, self._folder = image, folder

    def copy(self, name, data):
        path = self._folder / name
        path.write_bytes(data)
        call("mcopy", "-o", "-i", self._image, path, f"::{name}")
        path.unlink()

    def delete(self, *names):
        call("mdel", "-i", self._image, *(f"::{name}" for name in names))


def some_log(rng):
    depth, rate = rng.choice(((16, 10), (16, 10), (4, 3), (0, 0)))
    boots = [(rng.choice((30, 200, 700)), None) for _ in range(rng.choice((1, 2)))]
    return write_log(rng, rng.randbytes(4), boots, depth, rate)


def fat_case(rng, image, folder, how, fate):
    """Make the image; returns the logs that were written to it."""
    command, megabytes = how
    make(image, command, megabytes)
    volume = Volume(image, folder)
    logs = [some_log(rng), some_log(rng)]
    if "in pieces" in fate:
        # Holes between other files, which the log has to fill.
        names = [f"PHOTO{i:03}.JPG" for i in range(60)]
        for name in names:
            volume.copy(name, foreign.photo(rng, rng.randrange(2_000, 60_000)))
        volume.delete(*names[::2])
    volume.copy("OLDER.LOG", bytes(logs[0].sectors))
    volume.delete("OLDER.LOG")
    if rng.random() < 0.5:
        volume.copy("FILM.MP4", foreign.film(rng, 100_000))  # over the start of the older log
    volume.copy(LOG, bytes(logs[1].sectors))
    volume.copy("NOTES.TXT", foreign.text(rng, 5_000))
    if "deleted" in fate:
        volume.delete(LOG)
    if "formatted again" in fate:
        make(image, command, megabytes)
    if "written over" in fate:
        _forget_where_it_wrote(image)
        volume.copy("NEW.JPG", foreign.photo(rng, rng.choice((10_000, 100_000, 400_000))))
    return logs


def _forget_where_it_wrote(image):
    """Let the next file begin at the first free cluster: FAT32 remembers where the last one ended
    (Microsoft, "FAT: General Overview of On-Disk Format", 1.03: FSI_Nxt_Free at byte 492 of sector 1;
    all ones: not known).
    """
    with open(image, "r+b") as file:
        if file.read(SECTOR)[17:19] == b"\0\0":  # no fixed root directory: FAT32
            file.seek(SECTOR + 492)
            file.write(b"\xff" * 4)


def exfat_case(rng, image, folder, how, fate):
    command, megabytes = how
    make(image, command, megabytes)
    logs = [some_log(rng), some_log(rng)]
    data = bytearray(image.read_bytes())
    # Microsoft, "exFAT file system specification", 3.1: ClusterHeapOffset, ClusterCount, the two shifts.
    heap, count = (int.from_bytes(data[at:at + 4], "little") for at in (88, 92))
    cluster = 1 << data[108] + data[109]
    first = heap << data[108]
    free = list(range(64, count - 1))
    if "in pieces" in fate:
        rng.shuffle(free)
    for log in logs:
        for start in range(0, len(log.sectors), cluster):
            piece = log.sectors[start:start + cluster]
            at = first + free.pop(0) * cluster
            data[at:at + len(piece)] = piece
    image.write_bytes(data)
    if "formatted again" in fate:
        make(image, command, megabytes)
    return logs


def run_case(name, make_case, how, fate, seed):
    """(Verdict, blocks that the survivors' bytes are found of) of one image."""
    rng = Random(f"{name} {fate} {seed}")
    with TemporaryDirectory() as folder:
        folder = Path(folder)
        image = folder / "card.img"
        logs = make_case(rng, image, folder, how, fate)
        data = image.read_bytes()
        if fate == "cut off":
            data = data[:max(SECTOR, rng.randrange(data.find(MAGIC), data.rfind(MAGIC) + SECTOR))]
        if rng.random() < 0.3:
            data = bytes(rng.randrange(1, 2049)) + data  # a volume need not begin at a sector of the copy
        image.write_bytes(data)
        return judge(Case(seed, f"{name}, {fate}", Image(data), logs), read(image, len(data)))


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", type=int, default=4, help="images of each file system and fate")
    options = parser.parse_args(arguments)
    failed = total = 0
    for systems, make_case, needs in (
        (FAT, fat_case, ("mkfs.vfat", "mcopy", "mdel")), (EXFAT, exfat_case, ("mkfs.exfat",)),
    ):
        missing = [name for name in needs if not tool(name)]
        if missing:
            packages = "Debian packages dosfstools, mtools, exfatprogs"
            print(f"LEFT OUT {', '.join(systems)}: {', '.join(missing)} not installed ({packages})")
            continue
        for name, how in systems.items():
            for fate in FATES:
                if systems is EXFAT and ("deleted" in fate or "over" in fate):
                    continue
                verdicts = [run_case(name, make_case, how, fate, seed) for seed in range(options.seeds)]
                counts = sum((verdict.counts for verdict in verdicts), Counter())
                failures = [(verdict.seed, words) for verdict in verdicts for words in verdict.failures]
                print(
                    f"{name}, {fate}: {counts['written']} blocks written, {counts['survived']} survived, "
                    f"{counts['proven']} found, {counts['rebuilt']} rebuilt, {len(failures)} failures",
                    flush=True,
                )
                for seed, words in failures:
                    print(f"FAILED seed {seed}: {words}")
                failed, total = failed + len(failures), total + len(verdicts)
    print(f"{total} images, {failed} failures")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
