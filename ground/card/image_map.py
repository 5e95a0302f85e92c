"""The map beside an image: which places of the card could not be read and are zeros in the image."""

import json
from dataclasses import dataclass

MAP_FORMAT = "loftbook-card-map"
MAP_VERSION = 1
MAP_SUFFIX = ".map.json"
_COMPRESSED_SUFFIXES = (".gz", ".zst")
_SIZE_MAX = 1 << 26  # bytes; bounds the memory that reading a map takes


@dataclass(frozen=True)
class CardMap:
    """device: what was copied, as it was named; size: bytes of the image; sha256: of the image, in
    hexadecimal; unreadable: (offset, length) of the places that could not be read, in order; retries: how
    often a place was asked for again after an error.
    """

    device: str
    size: int
    sha256: str
    unreadable: list[tuple[int, int]]
    retries: int

    def to_json(self):
        """The map as plain dicts, lists, strings and numbers."""
        return {
            "format": MAP_FORMAT,
            "version": MAP_VERSION,
            "device": self.device,
            "size": self.size,
            "sha256": self.sha256,
            "unreadable": [{"offset": offset, "length": length} for offset, length in self.unreadable],
            "retries": self.retries,
        }


def map_path(image):
    """Where the map of an image (a Path) stands."""
    return image.with_name(image.name + MAP_SUFFIX)


def mapped_places(path, size, notes, facts, is_cut_off=False):
    """(offset, length) of the places of an image that its map says could not be read, in order.

    path: Path of the image, which may have been compressed since; size: its bytes; notes, facts: of the
    source, to which is added that the map is used or why it is not; is_cut_off: only the first `size` bytes
    of the image are there.
    """
    images = [path, path.with_suffix("")] if path.suffix in _COMPRESSED_SUFFIXES else [path]
    found = next((map_path(image) for image in images if map_path(image).is_file()), None)
    if found is None:
        return []
    try:
        mapped_size, places = _read(found)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        notes.append(f"{found.name}: is no map of a copied card that this program can read; it is not used")
        return []
    if mapped_size < size if is_cut_off else mapped_size != size:
        notes.append(
            f"{found.name}: is of an image of {mapped_size} bytes, this one has {size}; it is not used"
        )
        return []
    facts["map"] = found.name
    return [(offset, min(length, size - offset)) for offset, length in places if offset < size]


def _read(path):
    """(size, places) of a map file. Raises one of many errors if it is none."""
    if path.stat().st_size > _SIZE_MAX:
        raise ValueError("too large")
    content = json.loads(path.read_text("utf-8"))
    if (content["format"], content["version"]) != (MAP_FORMAT, MAP_VERSION):
        raise ValueError("another format")
    size, places = content["size"], [(item["offset"], item["length"]) for item in content["unreadable"]]
    end = 0
    for offset, length in places:
        if type(offset) is not int or type(length) is not int or offset < end or length <= 0:
            raise ValueError("places out of order")
        end = offset + length
    if type(size) is not int or end > size:
        raise ValueError("places beyond the end")
    return size, places
