"""Commands and the running server: keys, the mail listener, housekeeping, a clean stop, clear refusals."""

from __future__ import annotations

import os
import signal
import smtplib
import socket
import subprocess
import sys
import time
import urllib.request
from email.message import EmailMessage

import pytest

from intakebot.cli import main


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def environ(tmp_path, monkeypatch):
    monkeypatch.setenv("INTAKEBOT_DATA_DIR", str(tmp_path / "data"))


def test_new_key_is_shown_once_and_listed_without_its_secret(environ, capsys):
    assert main(["key", "--new", "ledger", "--scope", "intakes:read"]) == 0
    made = capsys.readouterr().out
    secret = made.split()[0]

    assert main(["key"]) == 0

    listed = capsys.readouterr().out
    assert secret.startswith("ik_")
    assert "ledger" in listed
    assert secret.split(".")[1] not in listed


def test_revoked_key_says_so_and_an_unknown_one_is_refused(environ, capsys):
    main(["key", "--new", "ledger"])
    key_id = capsys.readouterr().out.split()[0].removeprefix("ik_").split(".")[0]

    assert main(["key", "--revoke", key_id]) == 0
    assert "revoked" in capsys.readouterr().out
    assert main(["key", "--revoke", "key_nobody"]) == 1


def test_key_with_an_unknown_scope_is_refused(environ, capsys):
    assert main(["key", "--new", "ledger", "--scope", "everything"]) == 1
    assert "intakes:read" in capsys.readouterr().err


class Served:
    """`intakebot serve` as its own process."""

    def __init__(self, folder, **settings: str) -> None:
        self.port = free_port()
        self.environ = {
            **os.environ,
            "INTAKEBOT_DATA_DIR": str(folder),
            "INTAKEBOT_PORT": str(self.port),
            **settings,
        }
        command = [sys.executable, "-m", "intakebot.cli", "serve", "--empty"]
        self.process = subprocess.Popen(
            command, env=self.environ, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )

    def wait(self) -> None:
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/readyz", timeout=1):
                    return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the server did not start")

    def stop(self, number: int) -> tuple[int, str]:
        self.process.send_signal(number)
        output, _ = self.process.communicate(timeout=20)
        return self.process.returncode, output


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "terminate"])
def test_server_prints_its_addresses_and_stops_cleanly(tmp_path, number):
    served = Served(tmp_path / "data")
    served.wait()

    code, output = served.stop(number)

    assert code == 0
    assert "Traceback" not in output
    for line in ("Customer page:", "Front desk:", "Bench:", "First owner:", "Stopped."):
        assert line in output


def test_taken_port_is_explained_in_one_line(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        settings = {**os.environ, "INTAKEBOT_DATA_DIR": str(tmp_path / "data"), "INTAKEBOT_PORT": port}
        done = subprocess.run(
            [sys.executable, "-m", "intakebot.cli", "serve"],
            env=settings,
            capture_output=True,
            text=True,
            check=False,
        )

    assert done.returncode == 1
    assert done.stderr.startswith("intakebot: INTAKEBOT_PORT")
    assert "Traceback" not in done.stderr


def test_mail_handed_over_opens_a_conversation(tmp_path):
    port = free_port()
    served = Served(
        tmp_path / "data", INTAKEBOT_MAIL_LISTEN=f"127.0.0.1:{port}", INTAKEBOT_MAIL_FROM="desk@example.com"
    )
    served.wait()
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = (
        "Nora Fennwick <nora@example.com>",
        "desk@example.com",
        "Player",
    )
    mail["Message-ID"] = "<one@example.com>"
    mail.set_content("My player does not read Blu-ray discs any more.")

    with smtplib.LMTP("127.0.0.1", port) as connection:
        refused = connection.send_message(mail)
    code, _ = served.stop(signal.SIGTERM)

    assert (refused, code) == ({}, 0)
    database = (tmp_path / "data" / "intakebot.db").read_bytes() + b"".join(
        path.read_bytes() for path in (tmp_path / "data").glob("intakebot.db-wal")
    )
    assert b"does not read Blu-ray discs" in database
