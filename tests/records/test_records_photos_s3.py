"""Photos in an S3-compatible store: a local stand-in server (moto) that speaks the protocol, with the real client library."""

from __future__ import annotations

import os
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from intakebot.errors import BadInputError
from intakebot.records.photos import PhotoStore
from tests.records.test_records_photos import NOW, SeededIds
from tests.turns.doubles import fresh_store

try:
    import boto3
    import s3fs  # noqa: F401 - the store needs it
    from moto.server import ThreadedMotoServer
except ImportError:
    if os.environ.get("CI") == "true":
        raise
    pytest.skip("the S3 stand-in is not installed (requirements-ci.txt)", allow_module_level=True)

# The client libraries warn about themselves: naive UTC calls and unclosed sessions inside botocore and aiohttp.
pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture
def bucket(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    monkeypatch.setenv("AWS_ENDPOINT_URL", f"http://{host}:{port}")
    for name, value in (
        ("AWS_ACCESS_KEY_ID", "shop"),
        ("AWS_SECRET_ACCESS_KEY", "not-a-secret"),
        ("AWS_DEFAULT_REGION", "us-east-1"),
    ):
        monkeypatch.setenv(name, value)
    boto3.client("s3").create_bucket(Bucket="photos")
    yield "s3://photos/shop"
    server.stop()


def picture() -> bytes:
    out = BytesIO()
    Image.new("RGB", (640, 480), "grey").save(out, "PNG")
    return out.getvalue()


def keys() -> list[str]:
    return [item["Key"] for item in boto3.client("s3").list_objects_v2(Bucket="photos").get("Contents", ())]


def test_photo_is_kept_read_and_erased_in_an_s3_store(bucket: str, tmp_path: Path, a_case) -> None:
    store = fresh_store(tmp_path)
    with store.unit_of_work() as work:
        work.cases.add(a_case, "t" * 64)
        work.commit()
    photos = PhotoStore(bucket, store, SeededIds(), lambda: NOW)

    kept = photos.keep(a_case.id, picture(), "front")
    stored = keys()
    read = photos.read(kept)
    photos.delete_all(a_case.id)

    assert stored == [f"shop/{a_case.id}/{kept.id}.jpg"]
    assert Image.open(BytesIO(read)).format == "JPEG"
    assert keys() == []
    store.close()


def test_what_is_no_picture_leaves_nothing_in_the_store(bucket: str, tmp_path: Path, a_case) -> None:
    store = fresh_store(tmp_path)
    with store.unit_of_work() as work:
        work.cases.add(a_case, "t" * 64)
        work.commit()

    with pytest.raises(BadInputError):
        PhotoStore(bucket, store, SeededIds(), lambda: NOW).keep(a_case.id, b"%PDF-1.7 not a picture")

    assert keys() == []
    store.close()
