"""Runs alone: reads HEIC from standard input, writes JPEG to standard output, under limits set on itself first.

Started by `photo_reading` with an empty environment. Limits: 1 GB of address space (the interpreter and its libraries
included), 5 s of processor time, no file can grow, no core dump.
"""

from __future__ import annotations

import io
import resource
import sys

MEMORY_BYTES = 1024**3
CPU_SECONDS = 5
MAX_PIXELS = 40_000_000
MAX_SIDE = 12_000


def main() -> int:
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    from pi_heif import open_heif

    source = open_heif(io.BytesIO(sys.stdin.buffer.read()), convert_hdr_to_8bit=True)
    width, height = source.size
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        return 2
    image = source.to_pillow().convert("RGB")
    image.thumbnail((2400, 2400))
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=90)
    sys.stdout.buffer.write(buffer.getvalue())
    return 0


if __name__ == "__main__":
    sys.exit(main())
