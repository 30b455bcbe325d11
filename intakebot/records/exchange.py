"""A whole intake as one JSON file, out and in; the round trip is equal.

Pictures are in the file as base64. What is not in it: the customer's token (a new one is made on import), stored
answers, and deliveries.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy.exc import IntegrityError

from intakebot.errors import BadInputError, ConflictError
from intakebot.records.case import Authorisation, Case, Event, IndexLine, Message, Photo, QuoteRecord
from intakebot.records.photos import PhotoStore
from intakebot.records.store import Store, UnitOfWork
from intakebot.records.tokens import Ids, hash_secret

FORMAT = "intakebot-intake-1"
EVERYTHING = 10**9
_TIMES = ("at", "issued_at", "valid_until", "opened_at", "updated_at")
T = TypeVar("T")


def export_case(work: UnitOfWork, case_id: str, photos: PhotoStore, *, staff: bool = True) -> dict[str, Any]:
    """Everything stored about a case.

    Args:
        staff: False leaves out what is the shop's own (the job record, the events): what a customer gets of their data.
    Raises: NotFoundError.
    """
    case = work.cases.get(case_id)
    pictures = [
        {**_plain(photo), "jpeg": base64.b64encode(photos.read(photo)).decode()}
        for photo in work.photos.all(case_id)
    ]
    words = sorted(set(work.cases.words(case_id)) - {case.reference.lower()})
    file: dict[str, Any] = {
        "format": FORMAT,
        "case": {**_plain(case), "index": {**asdict(case.index), "search_words": words}},
        "messages": [_plain(message) for message in work.messages.since(case_id, limit=EVERYTHING)],
        "events": [_plain(event) for event in work.events.since(case_id, limit=EVERYTHING)],
        "quotes": [_plain(quote) for quote in work.quotes.all(case_id)],
        "authorisations": [_plain(entry) for entry in work.authorisations.all(case_id)],
        "photos": pictures,
    }
    if not staff:
        file["case"] = {**file["case"], "job": {}}
        file["events"] = []
        file["quotes"] = [{**quote, "body": {}} for quote in file["quotes"]]
    return file


def _plain(record: Any) -> dict[str, Any]:
    result = {}
    for each in fields(record):
        value = getattr(record, each.name)
        if isinstance(value, datetime):
            value = value.isoformat()
        elif isinstance(value, Mapping):
            value = dict(value)
        result[each.name] = value
    return result


def import_case(
    store: Store,
    file: Mapping[str, Any],
    photos: PhotoStore,
    ids: Ids,
    check: Callable[[Case], None],
) -> Case:
    """Store an exported intake.

    Args:
        check: whether the talk in the case can be gone on with here; raises BadInputError when not.
    Raises: BadInputError (not such a file), ConflictError (id or reference taken).
    """
    case, messages, events, quotes, log, pictures = _read(file)
    check(case)
    try:
        with store.unit_of_work() as work:
            work.cases.add(case, hash_secret(ids.secret()))
            work.messages.add_all(case.id, messages)
            work.events.add_all(case.id, events)
            for quote in quotes:
                work.quotes.put(case.id, quote)
            for entry in log:
                work.authorisations.add(case.id, entry)
            for photo, _ in pictures:
                work.photos.add(photo)
            for photo, jpeg in pictures:
                photos.write(photo, jpeg)
            work.commit()
    except IntegrityError as error:
        raise ConflictError("an intake with this id or reference is here already") from error
    return case


def _read(file: Mapping[str, Any]) -> tuple[Any, ...]:
    if not isinstance(file, Mapping) or file.get("format") != FORMAT:
        raise BadInputError("format", "something else", FORMAT)
    raw = _part(file, "case", dict)
    index = _made(IndexLine, _part(raw, "index", dict), "case.index")
    case = _made(Case, {**raw, "index": index}, "case")
    if not re.fullmatch(r"[A-Za-z0-9_]{1,40}", case.id) or not re.fullmatch(
        r"[A-Z0-9-]{1,16}", case.reference
    ):
        raise BadInputError("case.id", "something else", "an id and a reference as exported")
    return (
        case,
        [_made(Message, each, "messages") for each in _part(file, "messages", list)],
        [_made(Event, each, "events") for each in _part(file, "events", list)],
        [_made(QuoteRecord, each, "quotes") for each in _part(file, "quotes", list)],
        [_made(Authorisation, each, "authorisations") for each in _part(file, "authorisations", list)],
        [_picture(each, case.id) for each in _part(file, "photos", list)],
    )


def _part(file: Mapping[str, Any], name: str, kind: type[T]) -> T:
    value = file.get(name)
    if not isinstance(value, kind):
        raise BadInputError(name, type(value).__name__, f"a {kind.__name__}")
    return value


_CHECKS: Mapping[str, type | tuple[type, ...]] = {
    "str": str,
    "int": int,
    "bool": bool,
    "str | None": (str, type(None)),
    "Mapping[str, Any]": dict,
    "IndexLine": IndexLine,
}


def _made(kind: type[T], raw: Any, where: str) -> T:
    """The record of plain values, every field there and of the right type."""
    if not isinstance(raw, dict):
        raise BadInputError(where, type(raw).__name__, "an object")
    wanted = {each.name: str(each.type) for each in fields(kind)}  # type: ignore[arg-type]
    if set(raw) != set(wanted):
        raise BadInputError(where, "other members", ", ".join(sorted(wanted)))
    values = {name: _value(raw[name], name, type_name, where) for name, type_name in wanted.items()}
    return kind(**values)


def _value(value: Any, name: str, type_name: str, where: str) -> Any:
    if name in _TIMES:
        if value is None and "None" in type_name:
            return None
        try:
            moment = datetime.fromisoformat(value)
        except (TypeError, ValueError):
            raise BadInputError(f"{where}.{name}", "something else", "a time") from None
        if moment.tzinfo is None:
            raise BadInputError(f"{where}.{name}", "a time without a zone", "a time with a zone")
        return moment
    if name == "search_words" and isinstance(value, list) and all(isinstance(word, str) for word in value):
        return tuple(value)
    expected = _CHECKS.get(type_name, str)
    if not isinstance(value, expected) or (type_name == "int" and isinstance(value, bool)):
        raise BadInputError(f"{where}.{name}", type(value).__name__, type_name)
    if isinstance(value, str) and "\x00" in value:
        raise BadInputError(f"{where}.{name}", "a NUL character", "text")
    return value


def _picture(raw: Any, case_id: str) -> tuple[Photo, bytes]:
    if not isinstance(raw, dict) or not isinstance(raw.get("jpeg"), str):
        raise BadInputError("photos", "something else", "photos with their bytes")
    try:
        jpeg = base64.b64decode(raw["jpeg"], validate=True)
    except (binascii.Error, ValueError):
        raise BadInputError("photos.jpeg", "something else", "base64") from None
    photo = _made(Photo, {name: value for name, value in raw.items() if name != "jpeg"}, "photos")
    whole = hashlib.sha256(jpeg).hexdigest() == photo.sha256 and jpeg.startswith(b"\xff\xd8\xff")
    if not whole or photo.conversation_id != case_id or photo.path != f"{case_id}/{photo.id}.jpg":
        raise BadInputError("photos", "a picture that was changed", "the picture as exported")
    if not re.fullmatch(r"[A-Za-z0-9_]{1,40}", photo.id):
        raise BadInputError("photos.id", "an unusable id", "an id")
    return photo, jpeg
