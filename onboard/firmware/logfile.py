# The log file of a card that has none: made once, at the first boot on the bench, by the port's own VfsFat.
#
# The file is not filled: seeking behind its end chains the clusters and leaves their content alone. On a card
# that flew before, old blocks may show up in it; the logger leaves them alone and goes on behind them.

from protocol.constant import const

PATH = "/LOFTBOOK.LOG"
LARGEST = 64 << 20  # bytes: some 60 hours at the usual rates; a boot follows the whole chain of a file
SMALLEST = 1 << 20
_ENOENT = const(2)
_SHARE = const(16)  # where the card is the limit, one part in so many stays free


def make_log(card, say):
    """Make LOFTBOOK.LOG if a FAT file system is there without it, or with an empty one that a cut left.

    card: a block device; say: takes a line for the console. A card without a file system is left as it is:
    the logger says what is wrong with it.
    Raises OSError if the card fails on the way.
    """
    try:
        from vfs import VfsFat
    except ImportError:
        return  # a port without FAT; the file then has to be on the card already
    try:
        volume = VfsFat(card)
        if volume.stat(PATH)[6]:
            return
    except OSError as error:
        if error.args[0] != _ENOENT:
            return
    say("making LOFTBOOK.LOG on the card: once, do not switch off")
    size = _make(volume, LARGEST)
    if size < LARGEST:  # the card is full now; its owner may want to add a file some day
        volume.remove(PATH)
        size = _make(volume, size - size // _SHARE)
    if size < SMALLEST:
        volume.remove(PATH)
        say("the card has no room for a log: format it as FAT32 and put it in again")
        return
    say("LOFTBOOK.LOG: " + str(size >> 20) + " MB")


def _make(volume, size):
    file = volume.open(PATH, "wb")
    try:
        return file.seek(size)  # stops where the card is full
    finally:
        file.close()
