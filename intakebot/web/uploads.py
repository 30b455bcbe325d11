"""Photos: taken in through the photo store (which re-encodes them) and given out only to who may see the case."""

from __future__ import annotations

from flask import Response, g
from werkzeug.datastructures import FileStorage

from intakebot.conversation import PhotoAdded
from intakebot.errors import BadInputError
from intakebot.records.case import Photo
from intakebot.turns import Via, take_turn
from intakebot.web import cases, security

LARGEST_PHOTO = 8 * 1024 * 1024


def store_customer_photo(sent: FileStorage | None, label: str) -> None:
    """Keep a customer's photo and tell the talk. Raises: BadInputError when it is no photo we can read."""
    services, photo = security.services(), _keep(sent, label)
    event = PhotoAdded(services.new_id(), photo.id)
    take_turn(services.turns, cases.case().id, event, via=Via("web"), token_hash=g.token_hash)


def store_shop_photo(sent: FileStorage | None, label: str) -> None:
    """Keep a photo taken by the shop; it is no answer of the customer's. Raises: BadInputError."""
    _keep(sent, label)


def _keep(sent: FileStorage | None, label: str) -> Photo:
    content = sent.read(LARGEST_PHOTO + 1) if sent is not None else b""
    if not content or len(content) > LARGEST_PHOTO:
        raise BadInputError("photo", f"{len(content)} bytes", f"1 to {LARGEST_PHOTO} bytes")
    return security.services().photos.keep(cases.case().id, content, label[:120])


def send_photo(case_id: str, photo_id: str) -> Response:
    """A photo of this case, as a picture that runs nothing. Raises: NotFoundError."""
    services = security.services()
    with services.store.reading() as work:
        photo = work.photos.get(case_id, photo_id)
    headers = {"Content-Security-Policy": "sandbox; default-src 'none'", "Content-Disposition": "inline"}
    return Response(services.photos.read(photo), headers=headers, content_type=photo.content_type)
