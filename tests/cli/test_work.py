"""``accord work`` where it cannot start; what it does is tried with effects (``tests/service``)."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from accord_service.cli.main import main


def test_without_a_store_it_says_what_is_missing() -> None:
    result = CliRunner(env={"ACCORD_STORE_URL": "", "ACCORD_OWN_STORE_URL": ""}).invoke(main, ["work"])
    assert result.exit_code == 2
    assert "ACCORD_STORE_URL must be set" in result.output


@pytest.mark.parametrize("address", ["http://store", "redis+sentinel://"])
def test_an_address_that_is_none_is_told(address: str) -> None:
    result = CliRunner().invoke(main, ["work", "--store", address])
    assert result.exit_code == 2
    assert "It cannot start" in result.output
