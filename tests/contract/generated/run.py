"""Generate two clients from the description that a service gives, and do a day's calls with each: every order of the
demo goes through the generated shapes and back, and its answer as well. Hold the types of the JavaScript client to it.

    python tests/contract/generated/run.py

Needs a package index for pip and npm, and Node 20: so ``.ci/run`` runs it, and no test. The generators are pinned with
their hashes in ``requirements.lock`` (made of ``requirements.txt`` by ``make lock``) and ``package-lock.json``;
everything is made in a folder that goes away again.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import tomllib
from pathlib import Path
from typing import Any

import requests
from werkzeug.serving import make_server

from accord_service.app import create_app
from accord_service.run.config import Config
from accord_service.serving import first_start
from accord_service.store import EmbeddedServer, Seals, Store

HERE = Path(__file__).parent
JAVASCRIPT = HERE.parents[2] / "clients" / "javascript"
DEMO = HERE.parents[2] / "demo"
SHOP = "harbour-lane"
# The literals of the day as TypeScript, which alone says whether the described types have room for them.
LITERALS = """import type {{ components }} from "./schema";

export const {name}: components["schemas"]["{shape}"][] = {values};
"""


def seeded(url: str, data: Path) -> tuple[dict[str, str], str]:
    """Lay the demo's shops in a store; each shop's token for its counter, and that of one shop's owner."""
    first_start.furnish(url, data)
    store = Store.at(url, timeout_s=5.0, seals=Seals.read(Config(data=data).seal_key_file))
    for file in sorted((DEMO / "shops").glob("*.toml")):
        shop = tomllib.loads(file.read_text(encoding="utf-8"))
        store.shops.create(shop["id"], shop, who="trial")
    counters = {
        shop.stem: store.keys.issue(shop.stem, "counter", holder="The counter", who="trial").token
        for shop in (DEMO / "shops").glob("*.toml")
    }
    owner = store.keys.issue(SHOP, "owner", holder="The owner", who="trial").token
    store.close()
    return counters, owner


def lay_out_day(folder: Path, address: str, counters: dict[str, str]) -> None:
    """The demo's orders, each with its shop's token and the answer that it gets without any generated code."""
    shops = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    orders, answers, tokens = [], [], []
    for file in sorted((DEMO / "orders").glob("*.json")):
        order, token = json.loads(file.read_text(encoding="utf-8")), counters[shops[file.stem]["shop"]]
        headers = {"Authorization": f"Bearer {token}"}
        answer = requests.post(f"{address}/v1/validate", json=order, headers=headers, timeout=30)
        answer.raise_for_status()
        orders.append(order)
        answers.append(answer.json())
        tokens.append(token)
    day = {"orders": orders, "answers": answers, "tokens": tokens}
    (folder / "day.json").write_text(json.dumps(day), encoding="utf-8")
    for name, shape, values in (("orders", "Order", orders), ("answers", "Verdict", answers)):
        text = LITERALS.format(name=name, shape=shape, values=json.dumps(values, ensure_ascii=False))
        (folder / f"{name}.ts").write_text(text, encoding="utf-8")


def run(*command: str | Path, cwd: Path, **more: str) -> None:
    subprocess.run([str(word) for word in command], cwd=cwd, check=True, env={**os.environ, **more})


def python_client(folder: Path, address: str, tokens: list[str]) -> None:
    python = folder / "environment" / "bin" / "python"
    run(sys.executable, "-m", "venv", "environment", cwd=folder, PYTHONPATH="")
    run(
        python,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--require-hashes",
        "-r",
        HERE / "requirements.lock",
        cwd=folder,
        PYTHONPATH="",
    )
    generate = (
        "generate",
        "--path",
        "openapi.json",
        "--output-path",
        "generated",
        "--config",
        HERE / "python.yml",
        "--meta",
        "none",
        "--fail-on-warning",
    )
    path = f"{python.parent}{os.pathsep}{os.environ['PATH']}"
    run(python, "-m", "openapi_python_client", *generate, cwd=folder, PATH=path, PYTHONPATH="")
    run(python, HERE / "calls.py", address, *tokens, cwd=folder, PYTHONPATH=str(folder))


def typescript_client(folder: Path, address: str, tokens: list[str]) -> None:
    for name in ("package.json", "package-lock.json", "tsconfig.json", "calls.ts", "types.ts"):
        shutil.copy(HERE / name, folder)
    run("npm", "ci", "--silent", "--ignore-scripts", "--no-audit", "--no-fund", cwd=folder)
    # The types of the client that is written by hand are held to the description too (types.ts).
    shutil.copytree(JAVASCRIPT, folder / "node_modules" / "platen-accord-client")
    run("npx", "--no-install", "openapi-typescript", "openapi.json", "-o", "schema.d.ts", cwd=folder)
    run("npx", "--no-install", "tsc", "-p", ".", cwd=folder)
    run("node", "built/calls.js", address, *tokens, cwd=folder)
    run("node", "built/types.js", address, *tokens, cwd=folder)


def main() -> None:
    logging.getLogger("werkzeug").setLevel(logging.WARNING)  # a line for each of a thousand requests
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        store = EmbeddedServer.start(folder / "data" / "store")
        try:
            counters, owner = seeded(store.url, folder / "data")
            tokens = [counters[SHOP], owner]
            app = create_app(Config(store_url=store.url, data=folder / "data", log_level="WARNING"))
            description: Any = app.test_client().get("/v1/openapi.json").json
            (folder / "openapi.json").write_text(json.dumps(description), encoding="utf-8")
            server = make_server("127.0.0.1", 0, app, threaded=True)
            threading.Thread(target=server.serve_forever, daemon=True).start()
            address = f"http://127.0.0.1:{server.server_port}"
            lay_out_day(folder, address, counters)
            python_client(folder, address, tokens)
            typescript_client(folder, address, tokens)
            server.shutdown()
            app.extensions["accord"].close()
        finally:
            store.stop()


if __name__ == "__main__":
    main()
