"""A token taken apart: ``accord_<word of the key's id>_<secret><checksum>``."""

from __future__ import annotations

import string
import zlib


def key_id_of(token: str) -> str:
    """The id of the key that a token is of."""
    return f"key_{token.split('_')[1]}"


def secret_of(token: str) -> str:
    """What of a token is kept nowhere."""
    return token.split("_")[2][:-6]


def checked(word: str, secret: str) -> str:
    """A token as it would be, with a right checksum: CRC-32 in six digits of base 62."""
    token = f"accord_{word}_{secret}"
    rest, digits = zlib.crc32(token.encode()), ""
    for _ in range(6):
        digits = (string.digits + string.ascii_uppercase + string.ascii_lowercase)[rest % 62] + digits
        rest //= 62
    return token + digits
