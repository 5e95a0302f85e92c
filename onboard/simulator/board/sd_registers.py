# Check sums and registers of an SD card, after the Physical Layer Simplified Specification, 4.5 and chapter 5
# (section numbers from memory).


def crc7(data, count):
    """The last byte of a command or register: CRC-7 (x^7 + x^3 + 1) of `count` bytes before it, then a 1."""
    register = 0
    for i in range(count):
        for bit in range(7, -1, -1):
            feedback = (register >> 6 ^ data[i] >> bit) & 1
            register = register << 1 & 0x7F
            if feedback:
                register ^= 0x09
    return register << 1 | 1


def crc16(data):
    """CRC-16 of a data block: x^16 + x^12 + x^5 + 1, start 0. Eight steps of the shift register at once."""
    register = 0
    for byte in data:
        byte ^= register >> 8
        byte ^= byte >> 4
        register = (register << 8 ^ byte << 12 ^ byte << 5 ^ byte) & 0xFFFF
    return register


def card_identity(number):
    """The CID of an invented card with this serial number."""
    return _with_sum(b"\x7fLBVIRT0\x10" + number.to_bytes(4, "big") + b"\x01\x6a")


def card_specific_data(blocks, is_large):
    """The CSD of a card with so many blocks: version 2 counts them by 1024, version 1 here by 512."""
    if is_large:
        size = blocks // 1024 - 1
        size_bytes = bytes((size >> 16, size >> 8 & 0xFF, size & 0xFF))
        return _with_sum(b"\x40\x0e\x00\x32\x5b\x59\x00" + size_bytes + b"\x7f\x80\x0a\x40\x00")
    size = blocks // 512 - 1
    size_bytes = bytes((0x80 | size >> 10, size >> 2 & 0xFF, size << 6 & 0xC0 | 0x1B))
    return _with_sum(b"\x00\x26\x00\x32\x5f\x59" + size_bytes + b"\x03\xff\xff\x92\x80\x40")


def _with_sum(fields):
    return fields + bytes((crc7(fields, len(fields)),))
