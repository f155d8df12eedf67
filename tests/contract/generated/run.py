"""Generate two clients from the description that a service gives, and do a day's calls with each; hold the types of the
JavaScript client to it.

    python tests/contract/generated/run.py

Needs a package index for pip and npm, and Node 20: so no test runs it. The generators are pinned in
``requirements.txt`` and ``package.json`` here; everything is made in a folder that goes away again.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import tomllib
from pathlib import Path
from typing import Any

from werkzeug.serving import make_server

from accord_service.app import create_app
from accord_service.run.config import Config
from accord_service.serving import first_start
from accord_service.store import EmbeddedServer, Seals, Store

HERE = Path(__file__).parent
JAVASCRIPT = HERE.parents[2] / "clients" / "javascript"
DEMO = HERE.parents[2] / "demo"
SHOP, CALLERS = "harbour-lane", ("counter", "owner")


def seeded(url: str, data: Path) -> list[str]:
    """Lay the demo's shops in a store; the tokens of one shop's callers."""
    first_start.furnish(url, data)
    store = Store.at(url, timeout_s=5.0, seals=Seals.read(Config(data=data).seal_key_file))
    for file in sorted((DEMO / "shops").glob("*.toml")):
        shop = tomllib.loads(file.read_text(encoding="utf-8"))
        store.shops.create(shop["id"], shop, who="trial")
    tokens = [store.keys.issue(SHOP, role, holder=f"The {role}", who="trial").token for role in CALLERS]
    store.close()
    return tokens


def run(*command: str | Path, cwd: Path, **more: str) -> None:
    subprocess.run([str(word) for word in command], cwd=cwd, check=True, env={**os.environ, **more})


def python_client(folder: Path, address: str, tokens: list[str]) -> None:
    python = folder / "environment" / "bin" / "python"
    run(sys.executable, "-m", "venv", "environment", cwd=folder, PYTHONPATH="")
    run(python, "-m", "pip", "install", "--quiet", "-r", HERE / "requirements.txt", cwd=folder, PYTHONPATH="")
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
    for name in ("package.json", "tsconfig.json", "calls.ts", "types.ts"):
        shutil.copy(HERE / name, folder)
    run("npm", "install", "--silent", "--no-package-lock", cwd=folder)
    # The types of the client that is written by hand are held to the description too (types.ts).
    shutil.copytree(JAVASCRIPT, folder / "node_modules" / "platen-accord-client")
    run("npx", "--no-install", "openapi-typescript", "openapi.json", "-o", "schema.d.ts", cwd=folder)
    run("npx", "--no-install", "tsc", "-p", ".", cwd=folder)
    run("node", "built/calls.js", address, *tokens, cwd=folder)
    run("node", "built/types.js", address, *tokens, cwd=folder)


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        store = EmbeddedServer.start(folder / "data" / "store")
        try:
            tokens = seeded(store.url, folder / "data")
            app = create_app(Config(store_url=store.url, data=folder / "data", log_level="WARNING"))
            description: Any = app.test_client().get("/v1/openapi.json").json
            (folder / "openapi.json").write_text(json.dumps(description), encoding="utf-8")
            server = make_server("127.0.0.1", 0, app, threaded=True)
            threading.Thread(target=server.serve_forever, daemon=True).start()
            address = f"http://127.0.0.1:{server.server_port}"
            python_client(folder, address, tokens)
            typescript_client(folder, address, tokens)
            server.shutdown()
            app.extensions["accord"].close()
        finally:
            store.stop()


if __name__ == "__main__":
    main()
