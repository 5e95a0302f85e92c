# Wire types: the struct codes that fields use, their sizes and their missing values.

_SIZES = {"b": 1, "B": 1, "h": 2, "H": 2, "i": 4, "I": 4}


def wire_size(wire):
    """Bytes that a field of this wire type takes. Raises ValueError if the type is unknown."""
    if wire[-1:] == "s" and wire[:-1].isdigit():
        return int(wire[:-1])
    if wire in _SIZES:
        return _SIZES[wire]
    raise ValueError("unknown wire type " + repr(wire))


def missing_value(wire):
    """The stored value that means "no reading": all ones if unsigned, the most negative if
    signed. Text has none: None.
    """
    if wire[-1:] == "s":
        return None
    bits = 8 * wire_size(wire)
    if wire in "BHI":
        return (1 << bits) - 1
    return -(1 << (bits - 1))
