"""Settings from the environment, read once at start-up into one frozen object.

| variable | meaning | default |
|---|---|---|
| INTAKEBOT_PORT | port to listen on, 1 to 65535 | 8000 |
| INTAKEBOT_HOST | address to listen on | 127.0.0.1 |
| INTAKEBOT_DATA_DIR | folder for database, photos and the secret key | ./data |
| INTAKEBOT_DATABASE_URL | sqlite:///... or postgresql+psycopg://... | SQLite in the data folder |
| INTAKEBOT_BASE_URL | how people reach the shop's pages, without a slash at the end | http://HOST:PORT |
| INTAKEBOT_SECRET_KEY | at least 32 random bytes as text; made and kept in the data folder when not set | - |
| INTAKEBOT_DEFINITIONS | folder that holds flows/ and pricing/ | the project's own |
| INTAKEBOT_THREADS | server threads, 1 to 64 | 8 |
| INTAKEBOT_SMTP_HOST, _PORT, _USER, _PASSWORD | where outgoing mail is handed over; no mail is sent without a host | -, 587, -, - |
| INTAKEBOT_SMTP_SECURITY | starttls, tls, or none (a server on this machine only) | starttls |
| INTAKEBOT_MAIL_FROM | our address, as customers see it; needed with a host or a listener | - |
| INTAKEBOT_MAIL_LISTEN | host:port where the shop's mail server hands customers' mail over by LMTP | -, no listener |
| INTAKEBOT_MODEL_URL | a language model's adapter that may propose facts, https (http on this machine); see DEVELOPERS.md | -, no model |
| INTAKEBOT_MODEL_KEY | bearer token for it | - |
| INTAKEBOT_MAIL_AUTHSERV | name (authserv-id) that the shop's mail server puts into Authentication-Results; several with commas | -, senders are not checked |
| INTAKEBOT_PHOTOS_URL | where photos are kept, any fsspec URL such as s3://bucket/photos | a folder in the data folder |
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from intakebot.errors import SettingsError

PROJECT_ROOT = Path(__file__).resolve().parent.parent
SHORTEST_SECRET = 32
FEWEST_DISTINCT = 10


@dataclass(frozen=True)
class Mail:
    """Where outgoing mail is handed over."""

    host: str
    port: int
    sender: str
    security: str
    user: str
    password: str


@dataclass(frozen=True)
class Settings:
    """Everything the outside decides. Paths are absolute; base_url has no slash at the end; mail None: no mail is sent."""

    host: str
    port: int
    data_dir: Path
    database_url: str
    base_url: str
    secret_key: bytes
    definitions_root: Path
    threads: int
    mail: Mail | None = None
    mail_listen: tuple[str, int] | None = None
    mail_address: str = ""
    photos_url: str = ""
    mail_authserv: tuple[str, ...] = ()
    model_url: str = ""
    model_key: str = ""


def read_settings(environ: Mapping[str, str]) -> Settings:
    """Settings from environment variables; makes the data folder and, once, the secret key.

    Raises: SettingsError naming the variable and what it should hold.
    """
    port = _number(environ, "INTAKEBOT_PORT", 8000, 1, 65535)
    host = environ.get("INTAKEBOT_HOST", "127.0.0.1")
    data_dir = Path(environ.get("INTAKEBOT_DATA_DIR", "data")).expanduser().resolve()
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SettingsError(
            f"INTAKEBOT_DATA_DIR: {data_dir} cannot be made ({error.strerror}); expected a folder"
        ) from error
    if not os.access(data_dir, os.W_OK):
        raise SettingsError(f"INTAKEBOT_DATA_DIR: {data_dir} cannot be written to")
    return Settings(
        host=host,
        port=port,
        data_dir=data_dir,
        database_url=_database_url(environ, data_dir),
        base_url=_base_url(environ, host, port),
        secret_key=_secret_key(environ, data_dir),
        definitions_root=_definitions_root(environ),
        threads=_number(environ, "INTAKEBOT_THREADS", 8, 1, 64),
        mail=_mail(environ),
        mail_listen=_mail_listen(environ),
        mail_address=environ.get("INTAKEBOT_MAIL_FROM", ""),
        mail_authserv=tuple(
            name.strip() for name in environ.get("INTAKEBOT_MAIL_AUTHSERV", "").split(",") if name.strip()
        ),
        photos_url=environ.get("INTAKEBOT_PHOTOS_URL") or (data_dir / "photos").as_uri(),
        model_url=_model_url(environ),
        model_key=environ.get("INTAKEBOT_MODEL_KEY", ""),
    )


def _number(environ: Mapping[str, str], name: str, default: int, low: int, high: int) -> int:
    text = environ.get(name)
    if text is None:
        return default
    if not text.isascii() or not text.isdigit() or len(text) > 6 or not low <= int(text) <= high:
        raise SettingsError(f"{name}: found {text[:20]!r}, expected a whole number from {low} to {high}")
    return int(text)


def _database_url(environ: Mapping[str, str], data_dir: Path) -> str:
    url = environ.get("INTAKEBOT_DATABASE_URL")
    if url is None:
        return f"sqlite:///{data_dir / 'intakebot.db'}"
    scheme = url.split(":", 1)[0]
    if scheme == "postgresql":
        return "postgresql+psycopg" + url[len("postgresql") :]
    if scheme not in ("sqlite", "postgresql+psycopg"):
        raise SettingsError(
            f"INTAKEBOT_DATABASE_URL: found {scheme}:, expected sqlite:///FILE or postgresql://HOST/NAME"
        )
    return url


def _base_url(environ: Mapping[str, str], host: str, port: int) -> str:
    url = environ.get("INTAKEBOT_BASE_URL")
    if url is None:
        return f"http://{'127.0.0.1' if host in ('0.0.0.0', '::') else host}:{port}"
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise SettingsError(
            f"INTAKEBOT_BASE_URL: found {url[:60]!r}, expected such as https://repairs.example.com"
        )
    return url.rstrip("/")


def _mail(environ: Mapping[str, str]) -> Mail | None:
    host = environ.get("INTAKEBOT_SMTP_HOST", "").strip()
    if not host:
        return None
    security = environ.get("INTAKEBOT_SMTP_SECURITY", "starttls")
    if security not in ("starttls", "tls", "none"):
        raise SettingsError(
            f"INTAKEBOT_SMTP_SECURITY: found {security[:20]!r}, expected starttls, tls or none"
        )
    port = _number(environ, "INTAKEBOT_SMTP_PORT", 587, 1, 65535)
    user, password = environ.get("INTAKEBOT_SMTP_USER", ""), environ.get("INTAKEBOT_SMTP_PASSWORD", "")
    return Mail(host, port, _our_address(environ), security, user, password)


def _our_address(environ: Mapping[str, str]) -> str:
    sender = environ.get("INTAKEBOT_MAIL_FROM", "")
    if "@" not in sender or any(character in sender for character in "\r\n<> "):
        raise SettingsError("INTAKEBOT_MAIL_FROM: expected our address, such as desk@example.com")
    return sender


def _mail_listen(environ: Mapping[str, str]) -> tuple[str, int] | None:
    text = environ.get("INTAKEBOT_MAIL_LISTEN", "").strip()
    if not text:
        return None
    host, _, port = text.rpartition(":")
    if not host or not port.isascii() or not port.isdigit() or not 1 <= int(port[:6]) <= 65535:
        raise SettingsError(
            f"INTAKEBOT_MAIL_LISTEN: found {text[:40]!r}, expected host:port such as 127.0.0.1:8024"
        )
    _our_address(environ)
    return host, int(port)


def _model_url(environ: Mapping[str, str]) -> str:
    url = environ.get("INTAKEBOT_MODEL_URL", "").strip()
    parts = urlsplit(url)
    near = parts.scheme == "http" and parts.hostname in ("127.0.0.1", "::1", "localhost")
    if url and (not parts.netloc or not (parts.scheme == "https" or near) or parts.username is not None):
        raise SettingsError(
            "INTAKEBOT_MODEL_URL: expected an https URL without a user name, or http on this machine"
        )
    return url


def _definitions_root(environ: Mapping[str, str]) -> Path:
    root = Path(environ.get("INTAKEBOT_DEFINITIONS", str(PROJECT_ROOT))).expanduser().resolve()
    for name in ("flows", "pricing"):
        if not (root / name).is_dir():
            raise SettingsError(f"INTAKEBOT_DEFINITIONS: {root} has no folder {name}/")
    return root


def _secret_key(environ: Mapping[str, str], data_dir: Path) -> bytes:
    given = environ.get("INTAKEBOT_SECRET_KEY")
    if given is not None:
        return _strong("INTAKEBOT_SECRET_KEY", given.encode())
    path = data_dir / "secret_key"
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        if path.stat().st_mode & 0o077:
            raise SettingsError(f"{path}: others may read it; expected mode 600") from None
        return _strong(str(path), path.read_bytes())
    with os.fdopen(descriptor, "wb") as file:
        file.write(secrets.token_urlsafe(48).encode())
    return path.read_bytes()


def _strong(name: str, key: bytes) -> bytes:
    if len(key) < SHORTEST_SECRET or len(set(key)) < FEWEST_DISTINCT:
        raise SettingsError(f"{name}: too weak; expected at least {SHORTEST_SECRET} random bytes")
    return key
