"""HEIC is read in a process that can do nothing but compute: no network, no program, little memory; and broken files end there."""

from __future__ import annotations

import platform
import random
import struct
import subprocess
import sys
import textwrap
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from intakebot.errors import BadInputError
from intakebot.records import photo_reading
from intakebot.records.photo_reading import read_picture

SAMPLE = Path(__file__).with_name("sample.heic").read_bytes()
PROGRAM = Path(photo_reading.__file__).with_name("heic_process.py")
HAS_FILTER = sys.platform == "linux" and platform.machine() in ("x86_64", "aarch64")
FROM_HEADERS = {"x86_64": 41, "aarch64": 198}
"""Number of socket(2). Source: Linux, arch/x86/entry/syscalls/syscall_64.tbl; include/uapi/asm-generic/unistd.h."""


def decoder_that(does: str) -> subprocess.CompletedProcess[str]:
    """The real program, with a decoder library in place of pi_heif that turned bad."""
    script = f"""
import runpy, sys, types
bad = types.ModuleType("pi_heif")
def open_heif(*_, **__):
{textwrap.indent(textwrap.dedent(does).strip(), "    ")}
bad.open_heif = open_heif
sys.modules["pi_heif"] = bad
sys.argv = ["heic_process"]
runpy.run_path({str(PROGRAM)!r}, run_name="__main__")
"""
    command = [sys.executable, "-I", "-c", script]
    return subprocess.run(command, input="", capture_output=True, text=True, timeout=60, check=False, env={})


@pytest.mark.skipif(not HAS_FILTER, reason="the system call filter is for Linux on x86_64 and aarch64")
@pytest.mark.parametrize(
    "call",
    [
        pytest.param("libc.socket(2, 1, 0)", id="socket"),
        pytest.param("libc.socket(1, 1, 0)", id="local-socket"),
        pytest.param("libc.socket(16, 3, 0)", id="netlink-socket"),
        pytest.param("libc.socketpair(1, 1, 0, pair)", id="socketpair"),
        pytest.param(f"libc.syscall({FROM_HEADERS.get(platform.machine(), 0)}, 2, 1, 0)", id="by-number"),
        pytest.param("libc.syscall(425, 8, pair)", id="io_uring"),
        pytest.param("libc.execl(b'/bin/true', b'true', None)", id="program"),
        pytest.param("libc.ptrace(16, 1, 0, 0)", id="another-process"),
    ],
)
def test_compiled_code_of_the_decoder_gets_no_socket_and_starts_nothing(call: str) -> None:
    done = decoder_that(f"""
        import ctypes
        libc, pair = ctypes.CDLL(None, use_errno=True), ctypes.create_string_buffer(256)
        result = {call}
        print(result, ctypes.get_errno(), file=sys.stderr)
        sys.exit(7)
    """)

    assert (done.returncode, done.stderr.split()) == (7, ["-1", "1"])  # EPERM


@pytest.mark.parametrize(
    "action",
    [
        "import socket; socket.socket()",
        "import socket; socket.getaddrinfo('example.com', 443)",
        "import subprocess; subprocess.run(['true'])",
        "import os; os.fork()",
        "import os; os.system('true')",
    ],
)
def test_python_code_in_the_decoder_gets_no_socket_and_starts_nothing(action: str) -> None:
    done = decoder_that(f"""
        {action}
        sys.exit(7)
    """)

    assert done.returncode not in (0, 7)


def test_the_decoder_gets_no_more_memory_than_its_cap() -> None:
    done = decoder_that("""
        try:
            held = bytearray(1200 * 1024 * 1024)
        except MemoryError:
            sys.exit(7)
    """)

    assert done.returncode == 7


def test_the_decoder_writes_no_file(tmp_path: Path) -> None:
    done = decoder_that(f"""
        with open({str(tmp_path / "left")!r}, "wb") as file:
            file.write(b"x")
    """)

    assert done.returncode != 0
    assert not (tmp_path / "left").exists() or (tmp_path / "left").stat().st_size == 0


def mutated(dice: random.Random) -> bytes:
    """The sample with one to three things wrong, its first bytes kept so that it is taken for HEIC."""
    content = bytearray(SAMPLE)
    for _ in range(dice.randint(1, 3)):
        at = dice.randrange(12, max(13, len(content)))
        kind = dice.randrange(7)
        if kind == 0:
            content[at : at + 1] = bytes([dice.randrange(256)])
        elif kind == 1:
            del content[at:]
        elif kind == 2:  # a length or an offset out of all proportion
            content[at : at + 4] = struct.pack(
                ">I", dice.choice((0, 1, 0x7FFFFFFF, 0xFFFFFFFF, len(SAMPLE) * 2))
            )
        elif kind == 3:
            del content[at : at + dice.randint(1, 40)]
        elif kind == 4:
            content[at:at] = content[at : at + dice.randint(1, 200)]
        elif kind == 5:
            content[at : at + dice.randint(1, 60)] = bytes(dice.randint(1, 60))
        else:
            content[at:at] = dice.randbytes(dice.randint(1, 60))
    return bytes(content)


def outcomes(count: int, seed: int) -> Counter[str]:
    """What became of so many mutated files; anything but a picture or a refusal is raised."""
    dice = random.Random(seed)
    files = [mutated(dice) for _ in range(count)]

    def read(content: bytes) -> str:
        try:
            picture = read_picture(content)
        except BadInputError:
            return "refused"
        return "read" if picture.jpeg.startswith(b"\xff\xd8\xff") else "nonsense"

    with ThreadPoolExecutor(3) as pool:
        return Counter(pool.map(read, files))


def test_200_broken_files_end_as_a_picture_or_a_refusal() -> None:
    found = outcomes(200, seed=1)

    assert set(found) == {"read", "refused"}
    assert found["refused"] > 100
    assert sum(found.values()) == 200


@pytest.mark.soak
def test_2000_broken_files_end_as_a_picture_or_a_refusal() -> None:
    found = outcomes(2000, seed=2)
    print(dict(found))

    assert set(found) == {"read", "refused"}


@pytest.mark.soak
def test_a_decoder_that_never_ends_is_ended() -> None:
    done = decoder_that("""
        while True:
            pass
    """)

    assert done.returncode < 0  # killed by its limit of 5 s processor time
