"""A real HTTP server in this process, stopped without pulling its sockets away from under its own loop."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from waitress import wasyncore
from waitress.server import create_server


@contextmanager
def serving(app: Any, port: int = 0, threads: int = 4) -> Iterator[int]:
    """Serve a WSGI app on 127.0.0.1 while inside; the port (0: any free one). The loop closes its own sockets at the end."""
    server = create_server(app, host="127.0.0.1", port=port, threads=threads)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server.effective_port
    finally:
        server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map))
        thread.join(timeout=5)
        assert not thread.is_alive()
