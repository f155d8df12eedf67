"""What whoever runs the service may set, each by an environment variable ``ACCORD_<FIELD>``."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR")


class ConfigError(ValueError):
    """A variable that can't be used; the message names it and what it may hold."""


@dataclass(frozen=True, slots=True)
class Config:
    """``shops_folder`` holds ``shops/*.toml`` and ``keys.toml``; sizes in bytes."""

    shops_folder: Path = Path("demo")
    body_limit: int = 256 * 1024
    log_level: str = "INFO"

    @classmethod
    def from_env(cls, env: Mapping[str, str] = os.environ) -> Config:
        """Read the variables ACCORD_SHOPS_FOLDER, ACCORD_BODY_LIMIT (bytes) and ACCORD_LOG_LEVEL."""
        return cls(
            shops_folder=Path(env.get("ACCORD_SHOPS_FOLDER", "") or cls().shops_folder),
            body_limit=_whole(env, "ACCORD_BODY_LIMIT", cls().body_limit, least=1024),
            log_level=_word(env, "ACCORD_LOG_LEVEL", cls().log_level, LOG_LEVELS),
        )


def _whole(env: Mapping[str, str], name: str, default: int, least: int) -> int:
    text = env.get(name, "").strip()
    if not text:
        return default
    if not text.isascii() or not text.isdecimal() or int(text) < least:
        raise ConfigError(f"{name} must be a whole number of at least {least}, not {text!r}")
    return int(text)


def _word(env: Mapping[str, str], name: str, default: str, words: tuple[str, ...]) -> str:
    word = env.get(name, "").strip().upper()
    if word and word not in words:
        raise ConfigError(f"{name} must be one of {', '.join(words)}, not {word!r}")
    return word or default
