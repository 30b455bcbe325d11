"""Child processes for tests that kill them."""

from __future__ import annotations

import os
from typing import Any


def fork(work: Any) -> tuple[int, int]:
    """(process id, reading end of its pipe) of a child that does `work(pipe)`."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(reader)
        try:
            work(writer)
        finally:
            os._exit(0)
    os.close(writer)
    return pid, reader
