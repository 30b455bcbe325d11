"""Runs alone: reads HEIC from standard input, writes JPEG to standard output, under limits set on itself first.

Started by `photo_reading` with an empty environment. Limits: 1 GB of address space (the interpreter and its libraries
included), 5 s of processor time, no file can grow, no core dump, and no network and no other program:

- a name space of its own without any network interface, where the system lets an ordinary user have one;
- on Linux (x86_64, aarch64) a system call filter under which making a socket, starting a program, looking into other
  processes and io_uring fail with EPERM, also from compiled code;
- everywhere, a hook that ends the process when Python code tries one of these.

Source: seccomp(2), unshare(2), prctl(2); system call numbers of the Linux headers; PEP 578 (audit hooks).
"""

from __future__ import annotations

import ctypes
import io
import os
import platform
import resource
import struct
import sys

MEMORY_BYTES = 1024**3
CPU_SECONDS = 5
MAX_PIXELS = 40_000_000
MAX_SIDE = 12_000

FORBIDDEN_EVENTS = ("socket.", "subprocess.", "os.exec", "os.spawn", "os.posix_spawn", "os.system", "os.fork")
_NEW_NETWORK_OF_A_NEW_USER = 0x40000000 | 0x10000000
_NO_NEW_PRIVILEGES, _SET_FILTER, _FILTER_MODE = 38, 22, 2
_LOAD, _EQUAL, _AT_LEAST, _RETURN = 0x20, 0x15, 0x35, 0x06
_ALLOW, _REFUSE, _KILL = 0x7FFF0000, 0x00050000 | 1, 0x80000000
_NUMBER_AT, _ARCHITECTURE_AT = 0, 4
_X32 = 0x40000000
_CALLS = {
    # socket, socketpair, connect, accept, accept4, sendto, sendmsg, sendmmsg, bind, listen, execve, execveat, ptrace,
    # process_vm_readv, process_vm_writev, io_uring_setup; x86_64 also fork and vfork
    "x86_64": (0xC000003E, (41, 53, 42, 43, 288, 44, 46, 307, 49, 50, 59, 322, 101, 310, 311, 425, 57, 58)),
    "aarch64": (0xC00000B7, (198, 199, 203, 202, 242, 206, 211, 269, 200, 201, 221, 281, 117, 270, 271, 425)),
}


def confine() -> None:
    """Set every limit. What the system does not offer is left out; memory and time limits are always there."""
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if sys.platform == "linux":
        libc = ctypes.CDLL(None, use_errno=True)
        libc.unshare(_NEW_NETWORK_OF_A_NEW_USER)
        _filter_calls(libc)
    sys.addaudithook(_refuse)


def _refuse(event: str, _: object) -> None:
    if event.startswith(FORBIDDEN_EVENTS):
        os._exit(3)


def _filter_calls(libc: ctypes.CDLL) -> bool:
    """Put the system call filter on this process, for good; False where there is none for this machine."""
    architecture, calls = _CALLS.get(platform.machine(), (0, ()))
    if not calls:
        return False
    steps = [(_LOAD, 0, 0, _ARCHITECTURE_AT), (_EQUAL, 1, 0, architecture), (_RETURN, 0, 0, _KILL)]
    steps.append((_LOAD, 0, 0, _NUMBER_AT))
    steps += [(_AT_LEAST, 0, 1, _X32), (_RETURN, 0, 0, _REFUSE)]
    for call in calls:
        steps += [(_EQUAL, 0, 1, call), (_RETURN, 0, 0, _REFUSE)]
    steps.append((_RETURN, 0, 0, _ALLOW))
    code = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *step) for step in steps))
    program = ctypes.create_string_buffer(struct.pack("HxxxxxxP", len(steps), ctypes.addressof(code)))
    if libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) != 0:
        return False
    return bool(libc.prctl(_SET_FILTER, _FILTER_MODE, program, 0, 0) == 0)


def main() -> int:
    confine()
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
