"""What whoever runs the service may set, each by an environment variable ``ACCORD_<FIELD>``."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from urllib.parse import quote

# An origin as browsers write it (RFC 6454 section 6.2).
ORIGIN = re.compile(r"https?://(?:[a-z0-9.-]+|\[[0-9a-f:]+\])(?::[0-9]{1,5})?")
# Requests a minute of one key. A choice: a shop that sends 333 orders at once uses a few hundredths of it, and half of
# what two workers on two cores can answer is left to the others. Stewards and admins serve no counter. A storefront's
# key is anybody's who opens the page: some sixty people choosing at once, each with ten choices a minute, and no more.
RATE_LIMITS: Mapping[str, int] = MappingProxyType(
    {"storefront": 600, "counter": 12_000, "operator": 12_000, "owner": 12_000, "steward": 6_000, "admin": 6_000}
)
# Of a request unless somebody says otherwise; the command reads no order file that is larger.
BODY_BYTES = 256 * 1024
LOG_LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR")
DATA = Path(".data/accord")
# Set by the process that owns the store that comes along, for its workers alone.
OWN_STORE_URL = "ACCORD_OWN_STORE_URL"
BUNDLE_FOLDER = "ACCORD_BUNDLE"
SEAL_KEY_FILE = "ACCORD_SEAL_KEY_FILE"
STORE_PASSWORD_FILE = "ACCORD_STORE_PASSWORD_FILE"


class ConfigError(ValueError):
    """A variable that can't be used; the message names it and what it may hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Config:
    """``store_url``: a store run by somebody else; empty for the one that comes along, kept in ``data``.

    ``data`` also gets the first admin's key. ``seal_key``: the file of the key that seals the audit, which all services
    on one store share; None for one in ``data``. Sizes in bytes. Records are kept for ``retain_days``.
    A shop may answer from a bundle, without the service, for ``bundle_days`` after the day it was made on.
    A proposal's effect is worked out on all recorded orders and on at most ``edges_most`` at edges of thresholds, by
    ``job_processes`` processes beside the workers.
    A client has ``header_seconds`` for a header; for a body, and to take an answer, ``transfer_seconds`` and as long as
    the bytes need at ``transfer_rate`` bytes a second; ``lines_seconds`` instead where it sends
    and gets lines. A worker has places for ``heavy_most`` heavy questions,
    ``heavy_most_a_key`` of them for one key's and ``heavy_most_a_shop`` for one shop's. A key has the ``rate_limits``
    of its role, in requests a minute. Pages of ``cors_origins`` may ask from a browser.
    """

    store_url: str = field(default="", repr=False)  # it may have a password in it
    data: Path = DATA
    seal_key: Path | None = None
    body_limit: int = BODY_BYTES
    log_level: str = "INFO"
    retain_days: int = 730
    bundle_days: int = 14
    edges_most: int = 2000
    job_processes: int = 1
    header_seconds: int = 5
    transfer_seconds: int = 2
    transfer_rate: int = 32 * 1024
    lines_seconds: int = 30
    cors_origins: tuple[str, ...] = ()
    heavy_most: int = 16
    heavy_most_a_key: int = 8
    heavy_most_a_shop: int = 12
    rate_limits: Mapping[str, int] = field(default_factory=lambda: RATE_LIMITS)

    @classmethod
    def from_env(cls, env: Mapping[str, str] = os.environ) -> Config:
        """Read ACCORD_STORE_URL, ACCORD_STORE_PASSWORD_FILE (of that store; else it may stand in the address),
        ACCORD_DATA, ACCORD_SEAL_KEY_FILE, ACCORD_BODY_LIMIT (bytes), ACCORD_LOG_LEVEL, ACCORD_RETAIN_DAYS,
        ACCORD_BUNDLE_DAYS, ACCORD_EDGES_MOST, ACCORD_JOB_PROCESSES, ACCORD_HEADER_SECONDS, ACCORD_TRANSFER_SECONDS,
        ACCORD_TRANSFER_RATE (bytes a second), ACCORD_LINES_SECONDS, ACCORD_HEAVY_MOST, ACCORD_HEAVY_MOST_A_KEY,
        ACCORD_HEAVY_MOST_A_SHOP, ACCORD_RATE_LIMITS ("counter=6000,admin=600") and ACCORD_CORS_ORIGINS (separated
        by commas)."""
        return cls(
            store_url=store_url(env),
            data=Path(env.get("ACCORD_DATA", "").strip() or cls().data),
            seal_key=Path(file) if (file := env.get(SEAL_KEY_FILE, "").strip()) else None,
            body_limit=_whole(env, "ACCORD_BODY_LIMIT", cls().body_limit, least=1024),
            log_level=_word(env, "ACCORD_LOG_LEVEL", cls().log_level, LOG_LEVELS),
            retain_days=_whole(env, "ACCORD_RETAIN_DAYS", cls().retain_days, least=1),
            bundle_days=_whole(env, "ACCORD_BUNDLE_DAYS", cls().bundle_days, least=1),
            edges_most=_whole(env, "ACCORD_EDGES_MOST", cls().edges_most, least=1),
            job_processes=_whole(env, "ACCORD_JOB_PROCESSES", cls().job_processes, least=0),
            header_seconds=_whole(env, "ACCORD_HEADER_SECONDS", cls().header_seconds, least=1),
            transfer_seconds=_whole(env, "ACCORD_TRANSFER_SECONDS", cls().transfer_seconds, least=1),
            transfer_rate=_whole(env, "ACCORD_TRANSFER_RATE", cls().transfer_rate, least=1),
            heavy_most=_whole(env, "ACCORD_HEAVY_MOST", cls().heavy_most, least=1),
            heavy_most_a_key=_whole(env, "ACCORD_HEAVY_MOST_A_KEY", cls().heavy_most_a_key, least=1),
            heavy_most_a_shop=_whole(env, "ACCORD_HEAVY_MOST_A_SHOP", cls().heavy_most_a_shop, least=1),
            rate_limits=_rates(env, "ACCORD_RATE_LIMITS"),
            lines_seconds=_whole(env, "ACCORD_LINES_SECONDS", cls().lines_seconds, least=1),
            cors_origins=_origins(env, "ACCORD_CORS_ORIGINS"),
        )

    @property
    def seal_key_file(self) -> Path:
        """Where the key that seals the audit is."""
        return self.seal_key or self.data / "seal-key.pem"

    @property
    def anchor_file(self) -> Path:
        """Where the newest head of the audit is kept as a line, for whoever starts next."""
        return self.data / "audit-anchor"

    @classmethod
    def of_worker(cls, env: Mapping[str, str] = os.environ) -> Config:
        """The same for a worker, which finds the address of its owner's store in the environment.

        Raises ConfigError where there is neither: the store has to be started before, by ``accord serve`` or gunicorn
        with ``accord_service.serving.gunicorn_config``.
        """
        config = cls.from_env(env)
        url = config.store_url or env.get(OWN_STORE_URL, "")
        if not url:
            raise ConfigError("ACCORD_STORE_URL must be set; or start by accord serve, which brings a store")
        return replace(config, store_url=url)


def store_url(env: Mapping[str, str]) -> str:
    """The address of ACCORD_STORE_URL, with the password of the file that ACCORD_STORE_PASSWORD_FILE names.

    So the password stands in no environment, on no command line and in no file but that. Raises ConfigError.
    """
    url, file = env.get("ACCORD_STORE_URL", "").strip(), env.get(STORE_PASSWORD_FILE, "").strip()
    if not url or not file:
        return url
    scheme, separator, rest = url.partition("://")
    authority, slash, path = rest.partition("/")
    if "@" in authority:
        raise ConfigError(
            f"ACCORD_STORE_URL names a user or a password already: leave them out, or {STORE_PASSWORD_FILE}"
        )
    try:
        password = Path(file).read_text(encoding="utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        raise ConfigError(f"{STORE_PASSWORD_FILE} must name a file with the store's password: {why}") from None
    if not password or "\n" in password:
        raise ConfigError(f"the file of {STORE_PASSWORD_FILE} must hold one line, the store's password")
    return f"{scheme}{separator}:{quote(password, safe='')}@{authority}{slash}{path}"


def _whole(env: Mapping[str, str], name: str, default: int, least: int) -> int:
    text = env.get(name, "").strip()
    if not text:
        return default
    if not text.isascii() or not text.isdecimal() or int(text) < least:
        raise ConfigError(f"{name} must be a whole number of at least {least}, not {text!r}")
    return int(text)


def _rates(env: Mapping[str, str], name: str) -> Mapping[str, int]:
    """Limits by role; the usual ones for roles that are not named."""
    limits = dict(RATE_LIMITS)
    for entry in filter(None, (entry.strip() for entry in env.get(name, "").split(","))):
        role, _, count = (part.strip() for part in entry.partition("="))
        if role not in RATE_LIMITS or not count.isascii() or not count.isdecimal() or int(count) < 1:
            raise ConfigError(
                f'{name} must list requests a minute by role such as "counter=6000,admin=600" (roles:'
                f" {', '.join(RATE_LIMITS)}), not {entry!r}"
            )
        limits[role] = int(count)
    return MappingProxyType(limits)


def _origins(env: Mapping[str, str], name: str) -> tuple[str, ...]:
    """Raises ConfigError."""
    origins = tuple(filter(None, (origin.strip() for origin in env.get(name, "").split(","))))
    wrong = next((origin for origin in origins if not ORIGIN.fullmatch(origin)), None)
    if wrong is not None:
        raise ConfigError(
            f'{name} must list origins such as "https://orders.example" or "http://localhost:3000", in lower case and'
            f" without a path, not {wrong!r}"
        )
    return origins


def _word(env: Mapping[str, str], name: str, default: str, words: tuple[str, ...]) -> str:
    word = env.get(name, "").strip().upper()
    if word and word not in words:
        raise ConfigError(f"{name} must be one of {', '.join(words)}, not {word!r}")
    return word or default
