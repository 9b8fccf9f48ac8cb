"""Lines of the serial link as text: checksum, numbers, quantities in words, folding. No hardware; allocates."""

MOST = 120  # characters of a line, its end not counted
_STAMP = 6  # " *" and four digits

_SCALES = {
    "cdegc": (100, "%s%d.%02d degC"),
    "Pa": (1000, "%s%d.%03d kPa"),
    "mV": (1000, "%s%d.%03d V"),
    "permille": (10, "%s%d.%d %%"),
    "ms": (1000, "%s%d.%03d s"),
    "uL": (1000, "%s%d.%03d mL"),
}


class Refused(Exception):
    """A line is not done: `why`, one sentence; `more`: lines that go before it."""

    def __init__(self, why: str, more: "list[str] | tuple[str, ...]" = ()) -> None:
        super().__init__(why)
        self.why = why
        self.more = more


def crc16(text: str) -> int:
    """CRC-16/XMODEM of ASCII text: x16 + x12 + x5 + 1, begins with 0, nothing reflected or inverted.

    Of "123456789" it is 0x31C3 (catalogue of parametrised CRC algorithms). Worst case 255 * 4096: a small integer.
    """
    crc = 0
    for byte in text.encode():
        high = crc >> 8 ^ byte
        high ^= high >> 4
        crc = ((crc & 0xFF) << 8 ^ (high & 0xF) << 12 ^ high << 5 ^ high) & 0xFFFF
    return crc


def stamped(text: str) -> str:
    """The text with its checksum behind it: of what stands from its first to its last visible character."""
    text = text.rstrip()
    return "%s *%04X" % (text, crc16(text.strip()))


def unstamped(line: str) -> "tuple[str, bool]":
    """(text without the checksum, whether it carried one). Raises Refused for a checksum that is not the text's."""
    star = line.rfind("*")
    text = line if star < 0 else line[:star]
    text = text.strip()
    if star >= 0 and line[star + 1 :].strip().upper() != "%04X" % crc16(text):
        raise Refused("%s is not the checksum of this line: send it again" % short(line[star:].strip()))
    return text, star >= 0


def short(word: str) -> str:
    """A word that came in, as long as an answer can repeat it."""
    return word[:32]


def number(word: str, name: str, low: int, high: int) -> int:
    """A whole number of at most nine digits, `low` to `high`; Refused with `name` for anything else."""
    digits = word[1:] if word.startswith("-") else word
    if digits.isdigit() and len(digits) <= 9:
        value = int(word)
        if low <= value <= high:
            return value
    raise Refused("%s is %s, should be a whole number from %d to %d" % (name, short(word), low, high))


def quantity(value: int, unit: str) -> str:
    """A value in a unit of the law as people read it."""
    if unit not in _SCALES:
        return "%d %s" % (value, unit)
    per, form = _SCALES[unit]
    sign = "-" if value < 0 else ""
    return form % (sign, abs(value) // per, abs(value) % per)


def plain(text: str) -> str:
    """The text, every character that no terminal shows for certain replaced by a question mark."""
    for byte in text.encode():
        if not 32 <= byte <= 126:
            break
    else:
        return text  # as nearly always: six times as fast as what follows
    return "".join(letter if " " <= letter <= "~" else "?" for letter in text)


def folded(text: str, stamp: bool) -> "list[str]":
    """The text as lines that fit, cut at a blank where there is one; later ones are indented. `stamp`: with checksum."""
    most = MOST - _STAMP if stamp else MOST
    text = plain(text)
    lines = []
    while len(text) > most:
        cut = text.rfind(" ", 3, most + 1)
        if cut < 0:
            cut = most
        lines.append(text[:cut])
        text = "  " + text[cut:].lstrip(" ")
    lines.append(text)
    return [stamped(line) for line in lines] if stamp else lines
