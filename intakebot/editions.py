"""Definitions by version: the current ones from the folder, older ones out of the database.

A conversation keeps the definitions it began with. Every version that was started is stored as a zip, so an edited
folder never changes a talk that is under way.
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from intakebot.conversation import Assessor
from intakebot.definitions import Definitions, load_definitions
from intakebot.records import Store
from intakebot.records.versions import unzip_definitions, zip_definitions

MAX_OLD_VERSIONS = 4
"""Older versions held in memory at once; the one not used for longest is dropped and read again when wanted."""


class Editions:
    """Thread-safe; one per process.

    Attributes:
        current: what new conversations use.
    """

    def __init__(
        self, store: Store, current: Definitions, assessor_factory: Callable[[Definitions], Assessor]
    ) -> None:
        self.current = current
        self._store = store
        self._assessor_factory = assessor_factory
        self._lock = threading.Lock()
        self._loaded = {current.version: (current, assessor_factory(current))}

    def of(self, version: str) -> Definitions:
        """The definitions of a version. Raises: NotFoundError when it was never started here."""
        return self._entry(version)[0]

    def assessor(self, definitions: Definitions) -> Assessor:
        """The assessor over these definitions; one for each version, so its caches are shared by all threads."""
        return self._entry(definitions.version)[1]

    def _entry(self, version: str) -> tuple[Definitions, Assessor]:
        with self._lock:
            entry = self._loaded.get(version)
            if entry is None:
                definitions = self._read(version)
                entry = (definitions, self._assessor_factory(definitions))
                older = [key for key in self._loaded if key != self.current.version]
                if len(older) >= MAX_OLD_VERSIONS:
                    del self._loaded[older[0]]
                self._loaded[version] = entry
            return entry

    def _read(self, version: str) -> Definitions:
        with self._store.reading() as work:
            content = work.definition_versions.content(version)
        with tempfile.TemporaryDirectory(prefix="intakebot-definitions-") as folder:
            unzip_definitions(content, Path(folder))
            return load_definitions(Path(folder))


def open_editions(
    store: Store, root: Path, assessor_factory: Callable[[Definitions], Assessor], now: datetime
) -> Editions:
    """Load the definitions below `root` and keep their files in the database.

    Raises: DefinitionError with every problem of the folder.
    """
    definitions = load_definitions(root)
    with store.reading() as work:
        known = work.definition_versions.has(definitions.version)
    if not known:
        content = zip_definitions(root)
        with store.unit_of_work() as work:
            work.definition_versions.keep(definitions.version, content, now)
            work.commit()
    return Editions(store, definitions, assessor_factory)
