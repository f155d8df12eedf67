"""Settings from the environment."""

from __future__ import annotations

from pathlib import Path

import pytest

from accord_service.run.config import STORE_PASSWORD_FILE, Config, ConfigError


def test_everything_has_a_default() -> None:
    assert Config.from_env({}) == Config(
        store_url="", data=Path(".data/accord"), body_limit=256 * 1024, log_level="INFO"
    )


def test_an_empty_variable_counts_as_left_out() -> None:
    assert Config.from_env({"ACCORD_STORE_URL": " ", "ACCORD_DATA": "", "ACCORD_BODY_LIMIT": " "}) == Config()


def test_every_variable_is_read() -> None:
    env = {
        "ACCORD_STORE_URL": "redis://store:6379/0",
        "ACCORD_DATA": "/srv/accord",
        "ACCORD_SEAL_KEY_FILE": "/run/secrets/seal-key",
        "ACCORD_BODY_LIMIT": "4096",
        "ACCORD_LOG_LEVEL": "debug",
        "ACCORD_RETAIN_DAYS": "30",
        "ACCORD_EDGES_MOST": "50",
        "ACCORD_JOB_PROCESSES": "0",
        "ACCORD_HEADER_SECONDS": "7",
        "ACCORD_TRANSFER_SECONDS": "3",
        "ACCORD_TRANSFER_RATE": "65536",
        "ACCORD_HEAVY_MOST": "9",
        "ACCORD_RATE_LIMITS": "counter=6000, admin = 600",
        "ACCORD_HEAVY_MOST_A_KEY": "4",
        "ACCORD_HEAVY_MOST_A_SHOP": "6",
        "ACCORD_CORS_ORIGINS": "https://orders.example, http://localhost:3000,http://[::1]:8080",
    }
    config = Config.from_env(env)
    assert config == Config(
        store_url="redis://store:6379/0",
        data=Path("/srv/accord"),
        seal_key=Path("/run/secrets/seal-key"),
        body_limit=4096,
        log_level="DEBUG",
        retain_days=30,
        edges_most=50,
        job_processes=0,
        header_seconds=7,
        transfer_seconds=3,
        transfer_rate=65536,
        heavy_most=9,
        rate_limits={
            "storefront": 600,
            "counter": 6000,
            "operator": 12000,
            "owner": 12000,
            "steward": 6000,
            "admin": 600,
        },
        heavy_most_a_key=4,
        heavy_most_a_shop=6,
        cors_origins=("https://orders.example", "http://localhost:3000", "http://[::1]:8080"),
    )


def test_the_seal_key_is_beside_what_is_kept_unless_a_file_is_named() -> None:
    assert Config.from_env({"ACCORD_DATA": "/srv/accord"}).seal_key_file == Path("/srv/accord/seal-key.pem")
    named = Config.from_env({"ACCORD_DATA": "/srv/accord", "ACCORD_SEAL_KEY_FILE": "/run/secrets/seal-key"})
    assert named.seal_key_file == Path("/run/secrets/seal-key")


@pytest.mark.parametrize(
    ("url", "with_password"),
    [
        ("redis://store:6379/0", "redis://:p%40ss%2Fw%20rd@store:6379/0"),
        ("rediss://store", "rediss://:p%40ss%2Fw%20rd@store"),
        ("unix:///run/store.sock", "unix://:p%40ss%2Fw%20rd@/run/store.sock"),
        ("redis+sentinel://a:1,b:2/main?db=1", "redis+sentinel://:p%40ss%2Fw%20rd@a:1,b:2/main?db=1"),
    ],
)
def test_the_stores_password_comes_from_a_file_and_is_not_shown(tmp_path: Path, url: str, with_password: str) -> None:
    file = tmp_path / "password"
    file.write_text("p@ss/w rd\n", encoding="utf-8")
    config = Config.from_env({"ACCORD_STORE_URL": url, "ACCORD_STORE_PASSWORD_FILE": str(file)})
    assert config.store_url == with_password
    assert "w%20rd" not in repr(config)


def test_a_worker_takes_the_store_it_is_told_of_before_its_owners() -> None:
    own = {"ACCORD_OWN_STORE_URL": "unix:///run/own"}
    assert Config.of_worker(own).store_url == "unix:///run/own"
    assert Config.of_worker(own | {"ACCORD_STORE_URL": "redis://store"}).store_url == "redis://store"
    assert Config.from_env(own).store_url == ""
    with pytest.raises(ConfigError, match="ACCORD_STORE_URL"):
        Config.of_worker({})


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("ACCORD_BODY_LIMIT", "256k"),
        ("ACCORD_BODY_LIMIT", "-1"),
        ("ACCORD_BODY_LIMIT", "0"),
        ("ACCORD_BODY_LIMIT", "٤٠٩٦"),
        ("ACCORD_LOG_LEVEL", "loud"),
        ("ACCORD_HEADER_SECONDS", "0"),
        ("ACCORD_TRANSFER_SECONDS", "2.5"),
        ("ACCORD_TRANSFER_RATE", "fast"),
        ("ACCORD_HEAVY_MOST", "0"),
        ("ACCORD_RATE_LIMITS", "counter"),
        ("ACCORD_RATE_LIMITS", "counter=0"),
        ("ACCORD_RATE_LIMITS", "stranger=10"),
        ("ACCORD_CORS_ORIGINS", "*"),
        ("ACCORD_CORS_ORIGINS", "null"),
        ("ACCORD_CORS_ORIGINS", "https://orders.example/"),
        ("ACCORD_CORS_ORIGINS", "https://*.example"),
        ("ACCORD_CORS_ORIGINS", "https://orders.example, https://Shop.example"),
        ("ACCORD_CORS_ORIGINS", "orders.example"),
    ],
)
def test_what_cannot_be_used_is_named(name: str, value: str) -> None:
    with pytest.raises(ConfigError, match=name):
        Config.from_env({name: value})


@pytest.mark.parametrize(
    ("url", "with_password"),
    [
        ("redis://store:6379/0", "redis://:p%40%3Ass%2F@store:6379/0"),
        ("unix:///run/store.sock", "unix://:p%40%3Ass%2F@/run/store.sock"),
        ("redis+sentinel://a,b:2/s?replicas=1", "redis+sentinel://:p%40%3Ass%2F@a,b:2/s?replicas=1"),
    ],
)
def test_the_password_of_the_store_comes_from_a_file(url: str, with_password: str, tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text("p@:ss/\n", encoding="utf-8")
    assert Config.from_env({"ACCORD_STORE_URL": url, STORE_PASSWORD_FILE: str(file)}).store_url == with_password


@pytest.mark.parametrize(
    ("url", "content", "why"),
    [
        ("redis://:other@store", "secret", "names a user or a password already"),
        ("redis://store", "\n", "must hold one line"),
        ("redis://store", "\udcff", "it is not UTF-8"),
        ("redis://store", None, "No such file"),
    ],
)
def test_a_password_that_cannot_be_used_is_refused(url: str, content: str | None, why: str, tmp_path: Path) -> None:
    file = tmp_path / "password"
    if content is not None:
        file.write_text(content, encoding="utf-8", errors="surrogateescape")
    with pytest.raises(ConfigError, match=STORE_PASSWORD_FILE) as caught:
        Config.from_env({"ACCORD_STORE_URL": url, STORE_PASSWORD_FILE: str(file)})
    assert why in str(caught.value)
    assert str(tmp_path) not in str(caught.value)
    assert "other" not in str(caught.value)
