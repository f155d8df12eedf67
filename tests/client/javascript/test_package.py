"""The JavaScript client as a shop gets it: packed, installed, and its README done as it says. No outside source."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import tarfile
import tomllib
from pathlib import Path
from typing import Any

import pytest
from tests.client.javascript.conftest import CLIENT, node

from accord_client import Client
from demo import run

ROOT = Path(__file__).parents[3]
README = (CLIENT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```js\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
EXPORTED = re.compile(r"^export (?:async )?(?:class|function|const) (\w+)", re.MULTILINE)


def packed(folder: Path) -> Path:
    """The client packed and unpacked where Node finds it from ``folder``."""
    npm = shutil.which("npm")
    assert npm is not None, "the test is not marked needs('npm')"
    env = {"PATH": os.environ["PATH"], "HOME": str(folder), "npm_config_cache": str(folder / "npm")}
    words = [npm, "pack", str(CLIENT), "--offline", "--json", "--pack-destination", str(folder)]
    done = subprocess.run(words, cwd=folder, env=env, capture_output=True, text=True, timeout=120, check=True)
    file = folder / json.loads(done.stdout)[0]["filename"]
    with tarfile.open(file) as archive:
        archive.extractall(folder / "unpacked", filter="data")
    (folder / "node_modules").mkdir()
    return shutil.move(folder / "unpacked" / "package", folder / "node_modules" / "platen-accord-client")


@pytest.mark.needs("node", "npm")
def test_what_is_packed_is_the_module_its_types_and_nothing_else(tmp_path: Path) -> None:
    package = packed(tmp_path)
    assert sorted(file.name for file in package.rglob("*")) == ["README.md", "accord.d.ts", "accord.js", "package.json"]
    (tmp_path / "main.mjs").write_text(
        'import { Accord, VERSION } from "platen-accord-client"; console.log(VERSION, typeof Accord);', encoding="utf-8"
    )
    assert node("main.mjs", folder=tmp_path).split() == [manifest()["version"], "function"]


def manifest() -> Any:
    return json.loads((CLIENT / "package.json").read_text(encoding="utf-8"))


def test_the_package_leans_on_nothing_and_has_the_version_of_the_python_client() -> None:
    package = manifest()
    assert {name for name in package if "ependencies" in name or name in ("scripts", "bin")} == set()
    source = (CLIENT / "accord.js").read_text(encoding="utf-8")
    assert re.findall(r"^import |\bimport\(|\brequire\(", source, re.MULTILINE) == []
    project = tomllib.loads((ROOT / "clients" / "python" / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert (package["name"], package["version"], package["license"]) == (
        project["name"],
        project["version"],
        project["license"],
    )
    assert f'export const VERSION = "{package["version"]}";' in source
    assert package["type"] == "module"
    assert set(package["exports"]["."].values()) == {"./accord.js", "./accord.d.ts"}


def test_types_name_what_the_module_exports_and_its_calls() -> None:
    source, types = ((CLIENT / name).read_text(encoding="utf-8") for name in ("accord.js", "accord.d.ts"))
    assert set(EXPORTED.findall(source)) == set(EXPORTED.findall(types))
    body = re.search(r"^export class Accord \{.*?^\}", source, re.DOTALL | re.MULTILINE)
    typed = re.search(r"^export class Accord \{.*?^\}", types, re.DOTALL | re.MULTILINE)
    assert body is not None
    assert typed is not None
    calls = set(re.findall(r"^  (?:async )?\*?(?:get )?(\w+)\(", body[0], re.MULTILINE))
    assert calls == set(re.findall(r"^  (?:get )?(\w+)\(", typed[0], re.MULTILINE))
    assert {"validate", "validateAll", "recommend", "reportOutcome", "constructor"} <= calls


def test_the_readme_names_every_call() -> None:
    source = (CLIENT / "accord.js").read_text(encoding="utf-8")
    body = source[source.index("export class Accord {") : source.index("  // Inside")]
    calls = set(re.findall(r"^  (?:async )?\*?(\w+)\(", body, re.MULTILINE)) - {"constructor"}
    assert [name for name in sorted(calls) if f"`{name}(" not in README] == []


@pytest.mark.long
@pytest.mark.needs("node", "npm")
def test_the_readme_does_what_it_says(tmp_path: Path) -> None:
    """Its blocks one after the other in one module, against the demo's service and with the key it names."""
    assert len(BLOCKS) == 5
    packed(tmp_path)
    (tmp_path / "check.mjs").write_text("".join(BLOCKS), encoding="utf-8")
    with run.service() as (url, keys):
        token = run.token("harbour-lane", keys)
        told = node("check.mjs", folder=tmp_path, ACCORD_URL=url, ACCORD_TOKEN=token)
        with Client(url, token) as accord:
            (record,) = accord.governance.records()
            assert [outcome["result"] for outcome in accord.governance.outcomes(record["record_id"])] == ["good"]
    assert "cotton" in told
    assert "/decorations/0/settings/temperature" in told
    assert re.search(r"^1 rejected\n2 ", told, re.MULTILINE)
    assert re.search(r"^1 .*bench", told, re.MULTILINE), "a plan"
