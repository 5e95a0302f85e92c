# Wire types: the struct codes that fields use, their sizes and their missing values.

_WIRES = "bBhHiI"
_MISSING = (-0x80, 0xFF, -0x8000, 0xFFFF, -0x80000000, 0xFFFFFFFF)


def _number(wire):
    number = _WIRES.find(wire) if len(wire) == 1 else -1
    if number < 0:
        raise ValueError("unknown wire type " + repr(wire))
    return number


def wire_size(wire):
    """Bytes that a field of this wire type takes. Raises ValueError if the type is unknown."""
    if wire[-1:] == "s" and wire[:-1].isdigit():
        return int(wire[:-1])
    return 1 << _number(wire) // 2


def missing_value(wire):
    """The stored value that means "no reading": all ones if unsigned, the most negative if
    signed. Text has none: None.
    """
    return None if wire.endswith("s") else _MISSING[_number(wire)]
