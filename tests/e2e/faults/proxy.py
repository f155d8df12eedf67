"""A slow way to a server: each piece that comes back waits for the milliseconds that a file says at that moment.

python proxy.py PORT TARGET_PORT DELAY_FILE
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
from pathlib import Path


async def _pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, delay: Path | None) -> None:
    with contextlib.suppress(OSError):
        while piece := await reader.read(1 << 16):
            if delay is not None and (waits_s := float(delay.read_text() or 0) / 1000):
                await asyncio.sleep(waits_s)
            writer.write(piece)
            await writer.drain()
    writer.close()


async def serve(port: int, target: int, delay: Path) -> None:
    """Until it is ended from outside."""

    async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            from_target, to_target = await asyncio.open_connection("127.0.0.1", target)
        except OSError:
            writer.close()
            return
        await asyncio.gather(_pass_on(reader, to_target, None), _pass_on(from_target, writer, delay))

    server = await asyncio.start_server(connected, "127.0.0.1", port)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])))
