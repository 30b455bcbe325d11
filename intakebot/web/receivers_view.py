"""What the page about sending shows: each receiver with its state and trouble in plain words. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from urllib.parse import urlsplit

from intakebot.records.endpoints import Endpoint, Gateway
from intakebot.records.outbox import Item, Tally

Kind = Literal["endpoint", "gateway", "email", "other"]
State = Literal["working", "failing", "unconfirmed", "off"]


@dataclass(frozen=True)
class Words:
    """A text below `web.receivers.why.` and what is put into it."""

    key: str
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Line:
    """One receiver. why: what is wrong, if something is. test: the newest test, and test_why what was wrong with it.

    kind: `other` for a channel that was added to the code.
    """

    target: str
    kind: Kind
    name: str
    address: str
    state: State
    since: datetime | None
    tally: Tally
    why: Words | None
    test: Item | None = None
    test_why: Words | None = None

    @property
    def anchor(self) -> str:
        return self.target.replace(":", "-")

    @property
    def can_be_switched_off(self) -> bool:
        return self.kind in ("endpoint", "gateway")

    @property
    def is_in_trouble(self) -> bool:
        return self.state != "working" or self.tally.failed > 0


_SAID = (
    (r"the endpoint is switched off|the gateway is switched off", "is_off"),
    (r"switched off at the desk", "by_hand"),
    (r"every try of three days failed", "three_days"),
    (r"the endpoint has not allowed us to send yet|the receiver has not been asked yet", "not_asked"),
    (r"the receiver did not allow us to send", "not_allowed"),
    (r"no mail server is set up", "no_mail"),
    (r"the address cannot be used.*", "address"),
    (r".*(?:Timeout|timed out).*", "slow"),
    (r"SSLError|SSLCertVerificationError", "certificate"),
    (r"ConnectionError|ConnectionRefusedError|ConnectionResetError|OSError|gaierror|SMTPServerDisconnected|"
     r"SMTPConnectError|ChunkedEncodingError|ProtocolError", "unreachable"),
    (r"SMTPAuthenticationError", "sign_in"),
)  # fmt: skip
_ANSWERED = re.compile(r"the receiver answered (\d{3})(?: Gone)?")


def plain(error: str) -> Words | None:
    """What a stored error means, for somebody who does not know HTTP; None when there is none."""
    if not error:
        return None
    answered = _ANSWERED.fullmatch(error)
    if answered is not None:
        return Words(_of_status(int(answered[1])), {"status": answered[1]})
    for pattern, key in _SAID:
        if re.fullmatch(pattern, error, re.DOTALL):
            return Words(key)
    return Words("said", {"words": error})


def _of_status(status: int) -> str:
    if status in (401, 403):
        return "not_let_in"
    if status in (404, 405):
        return "no_such_address"
    if status == 410:
        return "gone"
    if status == 429:
        return "too_fast"
    if 300 <= status < 400:
        return "elsewhere"
    return "their_fault" if status >= 500 else "answered"


def lines(
    endpoints: Sequence[Endpoint],
    gateways: Sequence[Gateway],
    tallies: Mapping[str, Tally],
    tests: Mapping[str, Item],
    *,
    with_mail: bool,
) -> tuple[Line, ...]:
    """All receivers, those in trouble first, otherwise in the order they were set up."""
    found = [
        _line(
            f"endpoint:{each.id}",
            "endpoint",
            each.description or _host(each.url),
            each.url,
            each,
            tallies,
            tests,
        )
        for each in endpoints
    ]
    found += [
        _line(f"gateway:{each.id}", "gateway", each.id, each.url, each, tallies, tests) for each in gateways
    ]
    if with_mail or "email" in tallies:
        found.append(_line("email", "email", "", "", None, tallies, tests))
    others = sorted(set(tallies) - {line.target for line in found})
    found += [_line(target, "other", target, "", None, tallies, tests) for target in others]
    return tuple(sorted(found, key=lambda line: not line.is_in_trouble))


def _line(
    target: str,
    kind: Kind,
    name: str,
    address: str,
    receiver: Endpoint | Gateway | None,
    tallies: Mapping[str, Tally],
    tests: Mapping[str, Item],
) -> Line:
    tally, test = tallies.get(target, Tally()), tests.get(target)
    state, reason, since = _state_of(receiver, tally)
    tested = plain(test.last_error) if test is not None and test.state == "failed" else None
    return Line(target, kind, name, address, state, since, tally, plain(reason), test, tested)


def _state_of(receiver: Endpoint | Gateway | None, tally: Tally) -> tuple[State, str, datetime | None]:
    if receiver is not None and receiver.state == "disabled":
        return "off", receiver.reason, receiver.failing_since
    if receiver is not None and receiver.state == "unconfirmed":
        return "unconfirmed", receiver.reason, None
    since = receiver.failing_since if receiver is not None else None
    if since is not None or tally.retrying:
        return "failing", tally.last_error, since
    return "working", tally.last_error if tally.failed else "", None


def _host(url: str) -> str:
    return urlsplit(url).hostname or url


@dataclass(frozen=True)
class GivenUp:
    """A delivery that was given up. case and reference: empty when it belongs to no intake."""

    item: Item
    receiver: str
    can_be_sent: bool
    why: Words | None
    case: str = ""
    reference: str = ""


def given_up(
    items: Sequence[Item], shown: Sequence[Line], references: Mapping[str, str]
) -> tuple[GivenUp, ...]:
    """The given-up deliveries with the names of their receivers and intakes."""
    by_target = {line.target: line for line in shown}
    return tuple(
        GivenUp(
            item=item,
            receiver=by_target[item.target].name if item.target in by_target else "",
            can_be_sent=item.target in by_target and by_target[item.target].state in ("working", "failing"),
            why=plain(item.last_error),
            case=item.conversation_id or "",
            reference=references.get(item.conversation_id or "", ""),
        )
        for item in items
    )
