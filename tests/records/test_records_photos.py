"""Photos: judged by content, capped, re-encoded without metadata, HEIC in a process of its own."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from intakebot.errors import BadInputError
from intakebot.records import Case, Store, migrate, open_store
from intakebot.records.photo_reading import MAX_BYTES, kind_of, read_picture
from intakebot.records.photos import MAX_PHOTOS, PhotoStore
from intakebot.records.tokens import SeededIds
from tests.turns.doubles import NOW


def _image(kind: str, size: tuple[int, int] = (60, 40), **options: object) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", size, (10, 120, 200)).save(buffer, kind, **options)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_pictures_come_out_as_plain_jpeg(kind: str) -> None:
    picture = read_picture(_image(kind))

    assert kind_of(picture.jpeg) == "JPEG"
    assert (picture.width, picture.height) == (60, 40)


def test_position_and_camera_data_are_dropped_and_the_picture_stands_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: rotate 90 degrees (Exif 2.32, section 4.6.4)
    exif[0x010F] = "a camera"
    exif.get_ifd(0x8825)[1] = "N"
    raw = _image("JPEG", (60, 40), exif=exif, comment=b"secret place", icc_profile=b"x" * 200)

    picture = read_picture(raw)

    with Image.open(io.BytesIO(picture.jpeg)) as clean:
        assert dict(clean.getexif()) == {}
        assert {"exif", "icc_profile", "comment"} & set(clean.info) == set()
    assert (picture.width, picture.height) == (40, 60)
    assert b"secret" not in picture.jpeg


def _png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds nothing. Source: W3C PNG specification, 11.2.1 (IHDR)."""
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    chunk = struct.pack(">I", 13) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head))
    return b"\x89PNG\r\n\x1a\n" + chunk


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"<svg xmlns='http://www.w3.org/2000/svg'/>", id="svg"),
        pytest.param(b"%PDF-1.7", id="pdf"),
        pytest.param(b"GIF89a/*<script>*/", id="gif-and-script"),
        pytest.param(b"PK\x03\x04", id="zip"),
        pytest.param(b"MZ\x90\x00", id="program"),
        pytest.param(b"\xff\xd8\xff" + b"\x00" * 100, id="jpeg-in-name-only"),
        pytest.param(_image("JPEG")[:200], id="cut-off"),
        pytest.param(_png_header(50_000, 50_000), id="pixel-bomb"),
        pytest.param(_png_header(13_000, 10), id="too-long-a-side"),
        pytest.param(b"\x00\x00\x00\x18ftypheic" + b"\x00" * 100, id="heic-in-name-only"),
        pytest.param(b"\xff\xd8\xff" + b"x" * MAX_BYTES, id="too-many-bytes"),
    ],
)
def test_what_is_no_usable_picture_is_refused(content: bytes) -> None:
    with pytest.raises(BadInputError) as refused:
        read_picture(content)

    assert refused.value.where == "photo"


def test_an_archive_behind_a_picture_is_gone_after_re_encoding() -> None:
    picture = read_picture(_image("JPEG") + b"PK\x03\x04 evil.html <script>")

    assert b"PK\x03\x04" not in picture.jpeg
    assert b"script" not in picture.jpeg


def test_large_pictures_are_scaled_down() -> None:
    picture = read_picture(_image("JPEG", (4000, 3000)))

    assert max(picture.width, picture.height) == 2400


HEIC_SAMPLE = Path(__file__).with_name("sample.heic")
"""64 x 48, blue (30, 90, 160) with a light disc; drawn for this test."""


def test_a_heic_picture_is_decoded_in_a_process_of_its_own() -> None:
    picture = read_picture(HEIC_SAMPLE.read_bytes())

    assert (picture.width, picture.height) == (64, 48)
    with Image.open(io.BytesIO(picture.jpeg)) as clean:
        red, green, blue = clean.getpixel((2, 2))  # type: ignore[misc]
    assert (abs(red - 30) < 12, abs(green - 90) < 12, abs(blue - 160) < 12) == (True, True, True)


def test_the_heic_process_has_limits_and_takes_the_parent_with_it_never() -> None:
    """Malformed input ends the child, not us. Three mutations of a small header."""
    for number in range(3):
        content = b"\x00\x00\x00\x18ftypheic" + bytes((number * 37 + step) % 256 for step in range(300))
        with pytest.raises(BadInputError):
            read_picture(content)


@pytest.fixture(params=["file", "memory"])
def photos(
    request: pytest.FixtureRequest, tmp_path: Path, a_case: Case
) -> Iterator[tuple[PhotoStore, Store]]:
    """A folder; and a stand-in for object storage, which has keys but no folders (fsspec's memory file system)."""
    url = f"sqlite:///{tmp_path / 'photos.db'}"
    migrate(url)
    store = open_store(url, tmp_path)
    with store.unit_of_work() as work:
        work.cases.add(a_case, "hash")
        work.commit()
    place = f"file://{tmp_path / 'photos'}" if request.param == "file" else f"memory://bucket-{tmp_path.name}"
    yield PhotoStore(place, store, SeededIds(), lambda: NOW), store
    store.close()


def test_a_photo_is_kept_read_and_deleted(photos: tuple[PhotoStore, Store]) -> None:
    place, store = photos
    photo = place.keep("c_1", _image("PNG"), "label on the board")

    with store.reading() as work:
        [found] = work.photos.all("c_1")
    assert found == photo
    assert kind_of(place.read(found)) == "JPEG"
    place.delete_all("c_1")
    with pytest.raises(FileNotFoundError):
        place.read(found)


def test_the_same_delivery_keeps_one_photo(photos: tuple[PhotoStore, Store]) -> None:
    place, store = photos

    for _ in range(3):
        place.keep("c_1", _image("PNG"), photo_id="photo_fixed")

    with store.reading() as work:
        assert len(work.photos.all("c_1")) == 1


def test_a_case_holds_at_most_twenty_photos(photos: tuple[PhotoStore, Store]) -> None:
    place, _ = photos
    for _ in range(MAX_PHOTOS):
        place.keep("c_1", _image("PNG", (4, 4)))

    with pytest.raises(BadInputError):
        place.keep("c_1", _image("PNG", (4, 4)))


def test_names_on_disk_are_ours(photos: tuple[PhotoStore, Store]) -> None:
    place, _ = photos
    photo = place.keep("c_1", _image("PNG"), "../../etc/passwd\x00.jpg")

    assert photo.path == f"c_1/{photo.id}.jpg"
