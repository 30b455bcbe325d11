"""Old definitions stay usable: the files of every version that was ever started are kept, zipped, in the database.

A conversation goes on with the version it began with, even after flows/ and pricing/ were edited.
"""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, insert, select

from intakebot.errors import NotFoundError
from intakebot.records.tables import definition_versions

FOLDERS = ("flows", "pricing")
_EPOCH = (1980, 1, 1, 0, 0, 0)


def zip_definitions(root: Path) -> bytes:
    """flows/ and pricing/ below `root` as a zip; the same files give the same bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for folder in FOLDERS:
            for path in sorted((root / folder).rglob("*")):
                if path.is_file():
                    archive.writestr(
                        zipfile.ZipInfo(path.relative_to(root).as_posix(), _EPOCH), path.read_bytes()
                    )
    return buffer.getvalue()


def unzip_definitions(content: bytes, target: Path) -> None:
    """Write a stored version back as files below `target`."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        archive.extractall(target)


class DefinitionVersions:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep(self, version: str, content: bytes, at: datetime) -> None:
        """Store a version unless it is there already."""
        if not self.has(version):
            row = {"version": version, "content": content, "at": at}
            self._connection.execute(insert(definition_versions), row)

    def has(self, version: str) -> bool:
        query = select(definition_versions.c.at).where(definition_versions.c.version == version)
        return self._connection.execute(query).first() is not None

    def content(self, version: str) -> bytes:
        """Raises NotFoundError for a version that was never started here."""
        query = select(definition_versions.c.content).where(definition_versions.c.version == version)
        found = self._connection.execute(query).scalar_one_or_none()
        if found is None:
            raise NotFoundError(f"the definitions of version {version} were never stored here")
        return bytes(found)
