"""A verified InboundMessage becomes a turn: find the case, take pictures in, say what was said. For every channel alike.

The same message id has one effect, whatever it carries: the turn is stored under (channel, message id), and a repeated
delivery gets its answer again.

A message whose sender is not proven does not go on with a talk because of its address. It does when it answers one of our
own messages of that talk (whose ids only its reader knows) or brings a join code. Otherwise it is a new talk, which a person
looks at; nothing is sent to the address, which may be a stranger's, and the talk that belongs to it keeps it.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace

from intakebot.channels.guard import Guard
from intakebot.channels.seam import Attachment, InboundMessage
from intakebot.conversation import ChoiceTaken, MessageReceived, PhotoAdded, TakenOver
from intakebot.conversation import Event as TalkEvent
from intakebot.definitions import Definitions, Texts
from intakebot.errors import BadInputError, ConflictError, NotFoundError, RateLimitedError
from intakebot.joining import join
from intakebot.records import Case
from intakebot.records.access import RatePolicy
from intakebot.records.photos import PhotoStore
from intakebot.turns import (
    CaseChange,
    Opened,
    Request,
    Services,
    TurnAnswer,
    Via,
    change_case,
    open_case,
    take_turn,
)

JOIN = re.compile(r"\s*([A-Za-z0-9]{3}-?[A-Za-z0-9]{4})[\s,:]+(\d{7})\s*")
DAILY = RatePolicy("inbound", 200, 86_400)
MAX_MEDIA_BYTES = 8 * 1024 * 1024


class Incoming:
    """Takes inbound messages in; one for the process."""

    def __init__(self, services: Services, photos: PhotoStore, guard: Guard) -> None:
        self._services = services
        self._photos = photos
        self._guard = guard

    def take(self, message: InboundMessage, voice: str) -> TurnAnswer:
        """One turn for one message.

        voice: how the conversation engine should word things there: `sms`, `email` or `web`.
        Raises: RateLimitedError (too many from one address in a day), BadInputError, StoreBusyError.
        """
        services = self._services
        self._limit(message)
        fingerprint = hashlib.sha256(message.raw).hexdigest()
        request = Request(f"inbound:{message.channel}", message.message_id[:300], fingerprint)
        via = Via(message.channel, message.address, voice, message.thread)
        case_id = self._case_of(message)
        doubtful = not message.proven and case_id is not None and not self._answers_us(message, case_id)
        joining = JOIN.fullmatch(message.text)
        if joining is not None and (joined := self._join(joining[1], joining[2], via, request)) is not None:
            return joined
        if doubtful:
            return self._open_doubtful(message, replace(via, address=""), request)
        if case_id is None:
            return self._open(message, via, request).answer
        for number, attachment in enumerate(message.attachments):
            self._add_photo(case_id, attachment, f"{message.message_id}-{number}", via)
        if not message.text.strip() and message.choice is None and message.attachments:
            return self._answer_of(case_id, request)
        return take_turn(services, case_id, self._event(message, voice), via=via, request=request)

    def _limit(self, message: InboundMessage) -> None:
        services = self._services
        with services.store.unit_of_work() as work:
            work.rates.take(f"inbound|{message.channel}|{message.address}", DAILY, services.now())
            work.commit()

    def _case_of(self, message: InboundMessage) -> str | None:
        with self._services.store.reading() as work:
            address = work.addresses.find(message.channel, message.address)
        return None if address is None else address.conversation_id

    def _event(self, message: InboundMessage, voice: str) -> TalkEvent:
        name = message.message_id
        if message.choice is not None:
            return ChoiceTaken(name, message.choice, voice, message.sent_at)
        return MessageReceived(name, message.text, voice, sent_at=message.sent_at)

    def _answers_us(self, message: InboundMessage, case_id: str) -> bool:
        """Whether it refers to a message of ours in this talk; the ids are random and went to the customer only."""
        ids = [str(each)[1:].partition("@")[0] for each in message.thread.get("references", ())]
        with self._services.store.reading() as work:
            return any(work.outbox.belongs_to(each, case_id) for each in ids)

    def _open_doubtful(self, message: InboundMessage, via: Via, request: Request) -> TurnAnswer:
        """A new talk without an address, for a person to look at."""
        opened = self._open(message, via, request)
        note = Request(f"inbound-doubt:{message.channel}", request.key, request.fingerprint)

        def hand_over(definitions: Definitions, case: Case, now: object) -> CaseChange:
            event = ("sender_unproven", {"address": message.address})
            return CaseChange(case, event=TakenOver(f"doubt-{request.key}"[:300]), events=(event,))

        change_case(self._services, opened.conversation_id, hand_over, actor="engine", request=note)
        return opened.answer

    def _open(self, message: InboundMessage, via: Via, request: Request) -> Opened:
        locales = self._services.editions.current.locales
        wished = (message.locale or "").split("-")[0].lower()
        locale = wished if wished in locales else ("en" if "en" in locales else locales[0])
        opened = open_case(
            self._services,
            via=via,
            locale=locale,
            text=message.text or None,
            message_id=message.message_id,
            request=request,
            sent_at=message.sent_at,
        )
        for number, attachment in enumerate(message.attachments):
            self._add_photo(opened.conversation_id, attachment, f"{message.message_id}-{number}", via)
        return opened

    def _answer_of(self, case_id: str, request: Request) -> TurnAnswer:
        """Only pictures came: each was a turn of its own; this delivery is answered with an empty turn, stored."""

        def nothing(definitions: Definitions, case: Case, now: object) -> CaseChange:
            return CaseChange(case)

        return change_case(self._services, case_id, nothing, actor="customer", request=request)

    def _add_photo(self, case_id: str, attachment: Attachment, name: str, via: Via) -> None:
        """Store a picture and tell the talk, once for each name; a picture that cannot be read is said so."""
        services = self._services
        request = Request(f"inbound-photo:{via.channel}", name[:300], "photo")
        with services.store.reading() as work:
            if work.answers.find(request.scope, request.key) is not None:
                return
        try:
            photo = self._photos.keep(
                case_id, self._content(attachment), photo_id=_photo_id(via.channel, name)
            )
        except BadInputError:
            self._say(case_id, "channels.photo_refused", request)
            return
        take_turn(services, case_id, PhotoAdded(name, photo.id), via=via, request=request)

    def _content(self, attachment: Attachment) -> bytes:
        if attachment.content is not None:
            return attachment.content
        import requests

        try:
            fetched = self._guard.get(attachment.url or "", MAX_MEDIA_BYTES)
        except requests.RequestException as error:
            raise BadInputError("media", "a link that cannot be opened", "a picture") from error
        if fetched.status != 200:
            raise BadInputError("media", f"status {fetched.status}", "a picture")
        return fetched.body

    def _say(self, case_id: str, key: str, request: Request) -> None:
        def notice(definitions: Definitions, case: Case, now: object) -> CaseChange:
            return CaseChange(case, notices=(Texts(definitions, case.family, case.locale).say(key),))

        change_case(self._services, case_id, notice, actor="engine", request=request)

    def _join(self, reference: str, code: str, via: Via, request: Request) -> TurnAnswer | None:
        """Move this address to the case of a reference; None when the code is not right (it is then just a message)."""
        who = f"{via.channel}|{via.address}"
        try:
            return join(self._services, reference, code, via, who, request)[1]
        except (NotFoundError, ConflictError, RateLimitedError):
            return None


def _photo_id(channel: str, name: str) -> str:
    """The same for a repeated delivery, so that a picture is kept once even if we stopped half way."""
    return "photo_" + hashlib.sha256(f"{channel}\n{name}".encode()).hexdigest()[:32]
