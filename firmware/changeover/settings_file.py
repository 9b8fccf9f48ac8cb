"""Settings as the board keeps them: sorted `name=integer` lines and a CRC line. Pure text in and out; allocates."""

from binascii import crc32
from hashlib import sha256

_LETTERS = b"abcdefghijklmnopqrstuvwxyz0123456789_"
_DIGITS = 9  # more would be no small integer on the board


def lines(values: dict[str, int]) -> bytes:
    """The canonical lines, sorted by name, each ended by a newline."""
    return "".join("%s=%d\n" % (name, values[name]) for name in sorted(values)).encode()


def settings_hash(values: dict[str, int]) -> str:
    """First 16 hexadecimal digits of the SHA-256 of the canonical lines."""
    digest = sha256(lines(values)).digest()
    return "".join("%02x" % byte for byte in digest[:8])


def encode(values: dict[str, int]) -> bytes:
    """What is stored: the canonical lines, then `crc=` with eight hexadecimal digits of their CRC-32."""
    body = lines(values)
    return body + ("crc=%08x\n" % (crc32(body) & 0xFFFFFFFF)).encode()


def decode(data: bytes) -> tuple[dict[str, int], list[tuple[str, object, str, str]]]:
    """Whatever values could be read, and every error as (place, found, wanted, why). Ranges: see `validate`."""
    values: dict[str, int] = {}
    errors: list[tuple[str, object, str, str]] = []
    end = data.rfind(b"crc=")
    stated = data[end + 4 :].strip() if end >= 0 else b""
    body = data[:end] if end >= 0 else data
    actual = b"%08x" % (crc32(body) & 0xFFFFFFFF)
    if stated != actual:
        errors.append(("last line", stated, "crc=" + actual.decode(), "the lines are not the ones that were written"))
    for number, line in enumerate(body.split(b"\n"), 1):
        if not line:
            continue
        name, equals, value = line.partition(b"=")
        digits = value[1:] if value[:1] == b"-" else value
        named = len(name) > 0 and all(letter in _LETTERS for letter in name)
        if not equals or not named or not digits.isdigit() or len(digits) > _DIGITS:
            errors.append(("line %d" % number, line, "name=whole number", "cannot be read"))
        else:
            values[name.decode()] = int(value)
    return values, errors
