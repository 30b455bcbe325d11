"""A small typed client of the JSON API, for the shop's own scripts and for tests.

    with Client("http://127.0.0.1:8000") as client:
        talk = client.open("en", "My console does not read Blu-rays")
        answer = talk.say("nobody opened it")
        print(answer.replies[-1].text)

Every call that acts carries an Idempotency-Key and is repeated with the same key when the connection breaks, so it acts
once. Problems come as `ApiError` with the problem details.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import requests

from intakebot.errors import IntakebotError

TRIES = 3
TIMEOUT_S = 30


class ApiError(IntakebotError):
    """A problem answer (RFC 9457).

    Attributes: status, kind (last part of `type`), detail, errors (pointers into the request), retry_after_s.
    """

    def __init__(self, status: int, problem: Mapping[str, Any], retry_after_s: int | None = None) -> None:
        self.status = status
        self.kind = str(problem.get("type", "")).rpartition("/")[2]
        self.detail = str(problem.get("detail", ""))
        self.errors: Sequence[Mapping[str, str]] = problem.get("errors", ())
        self.retry_after_s = retry_after_s
        super().__init__(f"{status} {self.kind}: {self.detail}")


@dataclass(frozen=True)
class ReplyChoice:
    label: str
    value: str


@dataclass(frozen=True)
class Reply:
    """One message of the shop; choices are sent back with `Talk.choose(choice.value)`."""

    text: str
    kind: str
    choices: tuple[ReplyChoice, ...]

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Reply:
        choices = tuple(ReplyChoice(choice["label"], choice["value"]) for choice in raw["choices"])
        return Reply(raw["text"], raw["kind"], choices)


@dataclass(frozen=True)
class Answer:
    """What a turn gave: the new version, the state, what was heard (fact id -> value), the replies."""

    version: int
    phase: str
    floor: str
    heard: Mapping[str, Any]
    replies: tuple[Reply, ...]
    asked: str | None
    raw: Mapping[str, Any] = field(repr=False, compare=False, default_factory=dict)

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Answer:
        return Answer(
            version=raw["version"],
            phase=raw["state"]["phase"],
            floor=raw["state"]["floor"],
            heard={heard["fact"]: heard["value"] for heard in raw["heard"]},
            replies=tuple(Reply.from_mapping(reply) for reply in raw["replies"]),
            asked=raw["asked"],
            raw=raw,
        )


class Client:
    """Speaks to one server. shop_key: `ik_...`, for what only the shop may see."""

    def __init__(self, base_url: str, shop_key: str = "", session: requests.Session | None = None) -> None:
        self._base = base_url.rstrip("/") + "/api/v1"
        self._shop_key = shop_key
        self._session = session or requests.Session()

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self._session.close()

    def open(self, locale: str, text: str | None = None, channel: str = "api") -> Talk:
        """Begin a conversation. Raises: ApiError."""
        body = {"locale": locale, "channel": channel} | ({} if text is None else {"text": text})
        raw = self.call("POST", "/conversations", body, key=str(uuid.uuid4()))
        return Talk(self, raw["conversation_id"], raw["token"], Answer.from_mapping(raw))

    def intakes(self, **wanted: str) -> Iterator[Mapping[str, Any]]:
        """Every intake that fits (`waits_for`, `phase`, `floor`, `search`), page by page. Raises: ApiError."""
        after: str | None = None
        while True:
            query = wanted | ({} if after is None else {"after": after})
            page = self.call("GET", "/intakes", query=query, token=self._shop_key)
            yield from page["intakes"]
            after = page["next"]
            if after is None:
                return

    def intake(self, case_id: str) -> Mapping[str, Any]:
        return self.call("GET", f"/intakes/{case_id}", token=self._shop_key)

    def pretriage(self, case_id: str) -> Mapping[str, Any]:
        return self.call("GET", f"/intakes/{case_id}/pretriage", token=self._shop_key)

    def change(self, case_id: str, what: str, body: Mapping[str, Any], version: int) -> Answer:
        """A change by staff: `quotes`, `arrival`, `bench/steps`, `outcome`. version: the one seen (If-Match)."""
        headers = {"If-Match": f'"v{version}"'}
        path = f"/intakes/{case_id}/{what}"
        raw = self.call("POST", path, body, token=self._shop_key, key=str(uuid.uuid4()), headers=headers)
        return Answer.from_mapping(raw)

    def add_endpoint(
        self, url: str, event_types: Sequence[str] = (), *, handshake: str = "required", description: str = ""
    ) -> Mapping[str, Any]:
        """Add a webhook endpoint; its signing secret is in the answer, and only there. Raises: ApiError.

        handshake: `required` (it stays `unconfirmed` until its receiver has said yes to an OPTIONS request or opened the
        callback URL), or `skipped` for receivers that know nothing of it.
        """
        body = {
            "url": url,
            "event_types": list(event_types),
            "handshake": handshake,
            "description": description,
        }
        return self.call("POST", "/endpoints", body, token=self._shop_key)

    def change_endpoint(self, endpoint_id: str, **changes: Any) -> Mapping[str, Any]:
        """Change `url`, `description`, `event_types` or `handshake`; a new URL is asked for permission anew."""
        return self.call("PATCH", f"/endpoints/{endpoint_id}", changes, token=self._shop_key)

    def endpoint(self, endpoint_id: str) -> Mapping[str, Any]:
        return self.call("GET", f"/endpoints/{endpoint_id}", token=self._shop_key)

    def endpoint_action(self, endpoint_id: str, action: str) -> Mapping[str, Any]:
        """`test`, `enable` (switch on again and resend what failed) or `rotate` (a new signing secret)."""
        return self.call("POST", f"/endpoints/{endpoint_id}/{action}", token=self._shop_key)

    def call(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        token: str = "",
        key: str = "",
        query: Mapping[str, str] | None = None,
        headers: Mapping[str, str] | None = None,
        files: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        """One request; repeated when the connection breaks and repeating is harmless. Raises: ApiError."""
        sent = dict(headers or {})
        if token:
            sent["Authorization"] = f"Bearer {token}"
        if key:
            sent["Idempotency-Key"] = key
        tries = TRIES if key or method in ("GET", "DELETE") else 1
        for number in range(1, tries + 1):
            try:
                answer = self._session.request(
                    method,
                    self._base + path,
                    json=body,
                    params=query,
                    headers=sent,
                    files=files,
                    timeout=TIMEOUT_S,
                )
                break
            except requests.ConnectionError:
                if number == tries:
                    raise
        return _read(answer)


def _read(answer: requests.Response) -> dict[str, Any]:
    if answer.status_code >= 400:
        try:
            problem = answer.json()
        except ValueError:
            problem = {"detail": "the answer is no problem details"}
        wait = answer.headers.get("Retry-After", "")
        raise ApiError(answer.status_code, problem, int(wait) if wait.isdigit() else None)
    result: dict[str, Any] = answer.json() if answer.content else {}
    return result


class Talk:
    """One conversation, held by its token. `last` is the newest answer."""

    def __init__(self, client: Client, conversation_id: str, token: str, last: Answer) -> None:
        self._client = client
        self.id = conversation_id
        self.token = token
        self.last = last

    def say(self, text: str) -> Answer:
        """Send words. Raises: ApiError."""
        return self._turn("POST", "/messages", {"text": text})

    def choose(self, value: str) -> Answer:
        """Take one of the choices of the last replies."""
        return self._turn("POST", "/messages", {"choice": value})

    def fill(self, facts: Mapping[str, Any], declined: Sequence[str] = ()) -> Answer:
        """Fill in facts, as on the one-page form; None means not known."""
        return self._turn("PATCH", "/facts", {"facts": dict(facts), "declined": list(declined)})

    def decide(self, decision: str, limit: str | None = None) -> Answer:
        """`accept` (with a lower limit, if wished) or `decline` the estimate."""
        body = {"decision": decision} | ({} if limit is None else {"limit": limit})
        return self._turn("POST", "/authorisation", body)

    def add_photo(self, content: bytes, label: str = "") -> str:
        """Add a photo; its id."""
        files = {"photo": ("photo", content), "label": (None, label)}
        raw = self._client.call("POST", f"/conversations/{self.id}/photos", token=self.token, files=files)
        self.last = Answer.from_mapping(raw["turn"])
        return str(raw["photo"]["id"])

    def state(self) -> Mapping[str, Any]:
        """Facts, state, messages, recap."""
        return self._client.call("GET", f"/conversations/{self.id}", token=self.token)

    def estimate(self) -> Mapping[str, Any]:
        return self._client.call("GET", f"/conversations/{self.id}/estimate", token=self.token)

    def packing(self) -> Mapping[str, Any]:
        return self._client.call("GET", f"/conversations/{self.id}/packing", token=self.token)

    def erase(self) -> None:
        self._client.call("DELETE", f"/conversations/{self.id}", token=self.token)

    def _turn(self, method: str, path: str, body: Mapping[str, Any]) -> Answer:
        raw = self._client.call(
            method, f"/conversations/{self.id}{path}", body, token=self.token, key=str(uuid.uuid4())
        )
        self.last = Answer.from_mapping(raw)
        return self.last
