"""A language model behind an HTTP address of the shop's own: it proposes facts for messages the rules could not read.

POST, JSON: `{"instructions", "message", "locale", "facts": [{"id", "label", "values": {code: words}}]}`; the answer is
`{"suggestions": [{"fact", "value", "quote"}]}`. Whatever runs the model speaks this through a small adapter; the customer's
words stand in a field of their own. See `understanding.suggester` for what becomes of an answer.

Trouble costs a suggestion, never a turn: short times, a small answer, no redirect, and after three failures in a row a pause.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace

import requests

from intakebot.conversation import Conversation, MessageReceived
from intakebot.definitions import Definitions
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError
from intakebot.strict_json import parse_strict
from intakebot.understanding import HeardFact, understand
from intakebot.understanding.suggester import (
    INSTRUCTIONS,
    Inquiry,
    Suggester,
    Suggestion,
    admit,
    make_inquiry,
    parse_suggestions,
    worth_asking,
)

CONNECT_S, READ_S = 1.0, 4.0
MAX_ANSWER_BYTES = 64 * 1024
FAILURES, PAUSE_S = 3, 60.0
_log = logging.getLogger("intakebot.model_server")


@dataclass
class ModelServer:
    """A `Suggester` over HTTP. url: of the shop's own adapter. key: sent as a bearer token, if any. Threads may share it."""

    url: str
    key: str = ""
    clock: Callable[[], float] = time.monotonic
    _failed: int = field(default=0, init=False)
    _quiet_until: float = field(default=0.0, init=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False)

    def suggest(self, inquiry: Inquiry) -> tuple[Suggestion, ...]:
        """What the model says; nothing when it cannot be reached, answers badly, or has failed too often just now."""
        with self._lock:
            if self.clock() < self._quiet_until:
                return ()
        try:
            found = parse_suggestions(self._ask(inquiry))
        except (requests.RequestException, OSError, BadInputError) as error:
            self._note_failure(type(error).__name__)
            return ()
        with self._lock:
            self._failed = 0
        return found

    def _ask(self, inquiry: Inquiry) -> object:
        headers = {"authorization": f"Bearer {self.key}"} if self.key else {}
        with requests.Session() as session:
            session.trust_env = False
            with session.post(
                self.url,
                json={"instructions": INSTRUCTIONS, **asdict(inquiry)},
                headers=headers,
                timeout=(CONNECT_S, READ_S),
                allow_redirects=False,
                stream=True,
            ) as answer:
                if answer.status_code != 200:
                    raise requests.HTTPError(f"status {answer.status_code}")
                return parse_strict(self._body(answer))

    def _body(self, answer: requests.Response) -> bytes:
        """The whole answer, capped in size and in time: a slow drip must not hold a turn up."""
        body, deadline = bytearray(), self.clock() + READ_S
        while chunk := answer.raw.read1(4096, decode_content=True):
            body += chunk
            if len(body) > MAX_ANSWER_BYTES or self.clock() > deadline:
                raise requests.HTTPError("too long an answer")
        return bytes(body)

    def _note_failure(self, name: str) -> None:
        with self._lock:
            self._failed += 1
            if self._failed >= FAILURES:
                self._failed, self._quiet_until = 0, self.clock() + PAUSE_S
        _log.warning("no suggestions: %s", name)


def with_suggestions(
    suggester: Suggester, definitions: Definitions, conversation: Conversation, event: MessageReceived
) -> MessageReceived:
    """The event with what a model proposes about its message. Called before a turn, outside every lock and transaction."""
    pending = conversation.pending
    if conversation.consent == "opted_out" or (pending is not None and pending.kind == "contact"):
        return event
    held = [fact for fact, entry in conversation.facts.items() if entry.value is not None]
    found = suggested(
        suggester, definitions, conversation.family, conversation.locale, event.text, tuple(held)
    )
    return replace(event, suggested=found) if found else event


def suggested(
    suggester: Suggester,
    definitions: Definitions,
    family_id: str,
    locale: str,
    text: str,
    held: tuple[str, ...] = (),
) -> tuple[HeardFact, ...]:
    """The admitted proposals about one message; the model is asked only when the rules left enough of it unread."""
    family = definitions.families[family_id]
    heard = understand(text, family, locale, proposals=False)
    if not worth_asking(heard):
        return ()
    known = (*held, *(fact.fact for fact in heard.facts))
    inquiry = make_inquiry(family, Texts(definitions, family_id, locale), text, known)
    return admit(family, text, suggester.suggest(inquiry))
