"""From bytes of a stranger to a clean JPEG.

Checks in order: size, type by content, pixel count from the header, decode, re-encode. Pillow is told which one format
to try, so no other decoder ever sees the bytes; its decompression-bomb warning is an error here.
"""

from __future__ import annotations

import io
import subprocess
import sys
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image, ImageOps

from intakebot.errors import BadInputError

MAX_BYTES = 8 * 1024 * 1024
MAX_PIXELS = 40_000_000
MAX_SIDE = 12_000
STORED_SIDE = 2400
QUALITY = 85
HEIC_SECONDS = 20
_HEIC_PROGRAM = Path(__file__).with_name("heic_process.py")
_EXPECTED = "a JPEG, PNG, WebP or HEIC picture"


@dataclass(frozen=True)
class Picture:
    """A re-encoded picture: JPEG bytes without any metadata."""

    jpeg: bytes
    width: int
    height: int


def read_picture(content: bytes) -> Picture:
    """Decode and re-encode. Raises: BadInputError (where = `photo`)."""
    if not content:
        raise BadInputError("photo", "nothing", _EXPECTED)
    if len(content) > MAX_BYTES:
        raise BadInputError("photo", f"{len(content)} bytes", f"at most {MAX_BYTES} bytes")
    kind = kind_of(content)
    if kind is None:
        raise BadInputError("photo", "something else", _EXPECTED)
    if kind == "HEIF":
        content = _heic_to_jpeg(content)
        kind = "JPEG"
    return _decode(content, kind)


def kind_of(content: bytes) -> str | None:
    """Pillow's name of the format, by the first bytes; None for anything we do not take.

    Source: JPEG (ITU-T T.81), PNG (W3C PNG specification 5.2), WebP container (RFC 9649), HEIF brands (ISO/IEC
    23008-12; from memory).
    """
    if content.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    if content[4:8] == b"ftyp" and content[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"heim", b"heis"):
        return "HEIF"
    return None


def _decode(content: bytes, kind: str) -> Picture:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(content), formats=[kind]) as image:
                width, height = image.size
                if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
                    raise BadInputError("photo", f"{width} x {height} pixels", f"at most {MAX_PIXELS} pixels")
                image.draft("RGB", (STORED_SIDE, STORED_SIDE))
                return _encode(image)
    except BadInputError:
        raise
    except (
        Exception
    ) as error:  # a decoder fed by strangers may raise nearly anything; all of it means: no picture
        raise BadInputError("photo", f"a {kind} picture that cannot be read", _EXPECTED) from error


def _encode(image: Any) -> Picture:
    upright = ImageOps.exif_transpose(image)
    plain = upright.convert("RGB")
    plain.thumbnail((STORED_SIDE, STORED_SIDE))
    clean = Image.new("RGB", plain.size)
    clean.paste(plain)
    buffer = io.BytesIO()
    clean.save(buffer, "JPEG", quality=QUALITY)
    return Picture(buffer.getvalue(), clean.width, clean.height)


def _heic_to_jpeg(content: bytes) -> bytes:
    """Decode HEIC in a process of its own with limits on memory and time; whatever happens there stays there."""
    try:
        done = subprocess.run(
            [sys.executable, "-I", str(_HEIC_PROGRAM)],
            input=content,
            capture_output=True,
            timeout=HEIC_SECONDS,
            check=False,
            env={},
        )
    except subprocess.TimeoutExpired as error:
        raise BadInputError("photo", "a HEIC picture that takes too long", _EXPECTED) from error
    if done.returncode != 0 or not done.stdout.startswith(b"\xff\xd8\xff"):
        raise BadInputError("photo", "a HEIC picture that cannot be read", _EXPECTED)
    return done.stdout
