"""The photo store: pictures are decoded, scaled, re-encoded as JPEG without metadata, and kept under random names.

Type is judged by content, never by name. Pixels are capped before decoding. HEIC goes through a separate process with
limits, because its decoder is large C++ code fed by strangers (see `photo_reading`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime

import fsspec

from intakebot.errors import BadInputError
from intakebot.records.case import Photo
from intakebot.records.photo_reading import Picture, read_picture
from intakebot.records.store import Store
from intakebot.records.tokens import Ids

MAX_PHOTOS = 20
"""Photos of one case. common practice, no source."""


class PhotoStore:
    """Keeps photos in an fsspec folder and their records in the database.

    url: any fsspec URL, such as `file:///data/photos` or `s3://bucket/photos`.
    """

    def __init__(
        self, url: str, store: Store, ids: Ids, now: Callable[[], datetime], **options: object
    ) -> None:
        self._files, self._root = fsspec.core.url_to_fs(url, **options)
        self._store, self._ids, self._now = store, ids, now
        store.when_erased(self.delete_all)

    def keep(self, case_id: str, content: bytes, label: str = "", photo_id: str | None = None) -> Photo:
        """Store a picture somebody sent and its record.

        photo_id: a name that is the same when the same picture is delivered again; it is then kept once.
        Raises: BadInputError when it is not a picture we take, is too large, or the case has enough of them.
        """
        with self._store.reading() as work:
            known = work.photos.all(case_id)
        for photo in known:
            if photo.id == photo_id:
                return photo
        picture = read_picture(content)
        if len(known) >= MAX_PHOTOS:
            raise BadInputError("photo", f"photo number {len(known) + 1}", f"at most {MAX_PHOTOS} photos")
        photo = self._record(case_id, picture, label, photo_id or self._ids.message_id("photo")[:40])
        path = self._path(photo)
        self._files.makedirs(path.rsplit("/", 1)[0], exist_ok=True)
        with self._files.open(path, "wb") as file:
            file.write(picture.jpeg)
        with self._store.unit_of_work() as work:
            work.photos.add(photo)
            work.commit()
        return photo

    def _record(self, case_id: str, picture: Picture, label: str, photo_id: str) -> Photo:
        return Photo(
            id=photo_id,
            conversation_id=case_id,
            label=label[:200],
            content_type="image/jpeg",
            byte_count=len(picture.jpeg),
            width=picture.width,
            height=picture.height,
            sha256=hashlib.sha256(picture.jpeg).hexdigest(),
            path=f"{case_id}/{photo_id}.jpg",
            at=self._now(),
        )

    def _path(self, photo: Photo) -> str:
        return f"{self._root}/{photo.path}"

    def read(self, photo: Photo) -> bytes:
        """The stored JPEG."""
        with self._files.open(self._path(photo), "rb") as file:
            return bytes(file.read())

    def write(self, photo: Photo, jpeg: bytes) -> None:
        """Put a file back under its record (import)."""
        path = self._path(photo)
        self._files.makedirs(path.rsplit("/", 1)[0], exist_ok=True)
        with self._files.open(path, "wb") as file:
            file.write(jpeg)

    def delete_all(self, case_id: str) -> None:
        """Remove every file of a case; nothing happens when there is none."""
        folder = f"{self._root}/{case_id}"
        if self._files.exists(folder):
            self._files.rm(folder, recursive=True)
