"""Settings from the environment."""

from __future__ import annotations

from pathlib import Path

import pytest

from accord_service.config import Config, ConfigError


def test_everything_has_a_default() -> None:
    assert Config.from_env({}) == Config(Path("demo"), 256 * 1024, "INFO")


def test_an_empty_variable_counts_as_left_out() -> None:
    assert Config.from_env({"ACCORD_SHOPS_FOLDER": "", "ACCORD_BODY_LIMIT": " "}) == Config()


def test_every_variable_is_read() -> None:
    env = {"ACCORD_SHOPS_FOLDER": "/srv/shops", "ACCORD_BODY_LIMIT": "4096", "ACCORD_LOG_LEVEL": "debug"}
    assert Config.from_env(env) == Config(Path("/srv/shops"), 4096, "DEBUG")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("ACCORD_BODY_LIMIT", "256k"),
        ("ACCORD_BODY_LIMIT", "-1"),
        ("ACCORD_BODY_LIMIT", "0"),
        ("ACCORD_BODY_LIMIT", "٤٠٩٦"),
        ("ACCORD_LOG_LEVEL", "loud"),
    ],
)
def test_what_cannot_be_used_is_named(name: str, value: str) -> None:
    with pytest.raises(ConfigError, match=name):
        Config.from_env({name: value})
