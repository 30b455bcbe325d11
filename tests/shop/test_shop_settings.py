"""Settings name the variable and what it should hold; a secret's value is never shown."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from intakebot.errors import SettingsError
from intakebot.settings import read_settings


def environ(tmp_path: Path, **more: str) -> dict[str, str]:
    return {"INTAKEBOT_DATA_DIR": str(tmp_path / "data"), **more}


def test_defaults_are_sqlite_in_the_data_folder_on_port_8000(tmp_path):
    settings = read_settings(environ(tmp_path))

    assert settings.port == 8000
    assert settings.database_url == f"sqlite:///{tmp_path / 'data' / 'intakebot.db'}"
    assert settings.base_url == "http://127.0.0.1:8000"


def test_secret_key_is_made_once_and_readable_by_the_owner_only(tmp_path):
    first, second = read_settings(environ(tmp_path)), read_settings(environ(tmp_path))

    assert first.secret_key == second.secret_key
    assert len(first.secret_key) >= 32
    assert (tmp_path / "data" / "secret_key").stat().st_mode & 0o777 == 0o600


def test_secret_key_that_others_can_read_is_refused(tmp_path):
    read_settings(environ(tmp_path))
    os.chmod(tmp_path / "data" / "secret_key", 0o644)

    with pytest.raises(SettingsError, match="mode 600"):
        read_settings(environ(tmp_path))


@pytest.mark.parametrize(
    ("name", "value"),
    [("INTAKEBOT_PORT", "http"), ("INTAKEBOT_PORT", "0"), ("INTAKEBOT_PORT", "65536"), ("INTAKEBOT_PORT", "-1"),
     ("INTAKEBOT_PORT", "\u0668\u0660"), ("INTAKEBOT_THREADS", "1000"), ("INTAKEBOT_DATABASE_URL", "mysql://x/y"),
     ("INTAKEBOT_BASE_URL", "ftp://x"), ("INTAKEBOT_BASE_URL", "https://x/?a=1"), ("INTAKEBOT_SECRET_KEY", "short"),
     ("INTAKEBOT_SECRET_KEY", "a" * 64), ("INTAKEBOT_DEFINITIONS", "/nowhere/at/all"),
     ("INTAKEBOT_MODEL_URL", "http://model.example.com"), ("INTAKEBOT_MODEL_URL", "https://me@model.example.com"), ("INTAKEBOT_MODEL_URL", "x")],
)  # fmt: skip
def test_bad_setting_stops_the_start_and_names_its_variable(tmp_path, name, value):
    with pytest.raises(SettingsError, match=name) as caught:
        read_settings(environ(tmp_path, **{name: value}))

    if name == "INTAKEBOT_SECRET_KEY":
        assert value not in str(caught.value)


def test_postgresql_url_gets_the_driver_we_ship(tmp_path):
    settings = read_settings(environ(tmp_path, INTAKEBOT_DATABASE_URL="postgresql://shop@localhost/shop"))

    assert settings.database_url == "postgresql+psycopg://shop@localhost/shop"


@pytest.mark.parametrize("url", ["", "https://model.example.com/suggest", "http://127.0.0.1:9000/suggest"])
def test_a_language_model_is_off_unless_an_address_is_given_and_plain_http_stays_on_this_machine(
    tmp_path, url
):
    settings = read_settings(environ(tmp_path, INTAKEBOT_MODEL_URL=url))

    assert (settings.model_url, read_settings(environ(tmp_path)).model_url) == (url, "")
