"""Text from a log, which may hold any character, for formats that take only some."""


def xml_text(text):
    """Text without the characters that XML 1.0 (section 2.2) does not allow; markup is escaped by the writers."""
    return "".join(c if _allowed(ord(c)) else "?" for c in str(text))


def _allowed(code):
    return code in (0x9, 0xA, 0xD) or 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or code >= 0x10000
