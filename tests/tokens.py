"""A token taken apart: ``accord_<word of the key's id>_<secret><checksum>``."""

from __future__ import annotations


def key_id_of(token: str) -> str:
    """The id of the key that a token is of."""
    return f"key_{token.split('_')[1]}"


def secret_of(token: str) -> str:
    """What of a token is kept nowhere."""
    return token.split("_")[2][:-6]
