"""Authentication-Results is read as RFC 8601 writes it; a mail that failed the checks joins no talk by its address alone."""

from __future__ import annotations

import random
from email.message import EmailMessage

import pytest

from intakebot.channels.email_in import EmailInbound
from intakebot.channels.email_out import message_id_for
from intakebot.channels.guard import Guard
from intakebot.channels.incoming import Incoming
from intakebot.channels.mail_proof import Result, Results, read_results, verdict
from intakebot.channels.mail_server import MailHandler
from intakebot.joining import issue_code
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services
from tests.turns.doubles import NOW

SHOP, ADA, MX = "desk@shop.example.com", "ada@example.net", "mx.shop.example.com"
FAILED = f"{MX}; spf=fail smtp.mailfrom=elsewhere.example; dkim=none; dmarc=fail header.from=example.net"
PASSED = f"{MX}; dkim=pass header.d=example.net; dmarc=pass header.from=example.net"


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        pytest.param("example.org 1; none", Results("example.org", ()), id="B.2"),
        pytest.param(
            "example.com;\n          spf=pass smtp.mailfrom=example.net",
            Results("example.com", (Result("spf", "pass", (("smtp.mailfrom", "example.net"),)),)),
            id="B.3",
        ),
        pytest.param(
            "example.com;\n auth=pass (cram-md5) smtp.auth=sender@example.net;\n spf=pass smtp.mailfrom=example.net",
            Results(
                "example.com",
                (
                    Result("auth", "pass", (("smtp.auth", "sender@example.net"),)),
                    Result("spf", "pass", (("smtp.mailfrom", "example.net"),)),
                ),
            ),
            id="B.4",
        ),
        pytest.param(
            'example.com;\n dkim=pass reason="good signature"\n header.i=@mail-router.example.net;\n'
            ' dkim=fail reason="bad signature"\n header.i=@newyork.example.com',
            Results(
                "example.com",
                (
                    Result(
                        "dkim",
                        "pass",
                        (("reason", "good signature"), ("header.i", "@mail-router.example.net")),
                    ),
                    Result(
                        "dkim", "fail", (("reason", "bad signature"), ("header.i", "@newyork.example.com"))
                    ),
                ),
            ),
            id="B.6",
        ),
        pytest.param(
            "foo.example.net (foobar) 1 (baz);\n    dkim (Because I like it) / 1 (One yay) = (wait for it) fail\n"
            "      policy (A dot can go here) . (like that) expired\n"
            "      (this surprised me) = (as I wasn't expecting it) 1362471462",
            Results("foo.example.net", (Result("dkim", "fail", (("policy.expired", "1362471462"),)),)),
            id="B.7",
        ),
        pytest.param(
            "example.com;\n          foo=pass bar.baz=blob (2 of 3 tests OK)",
            Results("example.com", (Result("foo", "pass", (("bar.baz", "blob"),)),)),
            id="2.7.6",
        ),
    ],
)
def test_the_examples_of_the_standard_are_read(header: str, expected: Results) -> None:
    """RFC 8601, appendix B and section 2.7.6."""
    assert read_results(header) == expected


@pytest.mark.parametrize(
    "header", ["", ";", "spf=pass", "example.com; (never ends", 'example.com; "never ends', "("]
)
def test_what_is_no_such_header_says_nothing(header: str) -> None:
    found = read_results(header)

    assert found is None or found.results == ()


def test_hostile_headers_are_survived() -> None:
    dice = random.Random(5)
    alphabet = 'ab.=;/()"\\ \t\n@1é\x00'
    for _ in range(3000):
        header = "".join(dice.choice(alphabet) for _ in range(dice.randrange(80)))
        found = read_results(f"{MX}; {header}")
        assert found is None or found.server == MX
    assert read_results(f"{MX}; " + "(" * 200_000) is None


@pytest.mark.parametrize(
    ("headers", "expected"),
    [
        pytest.param((FAILED,), "fail", id="dmarc-failed"),
        pytest.param((PASSED,), "pass", id="dmarc-passed"),
        pytest.param((PASSED, FAILED), "fail", id="a-forged-pass-does-not-outvote-a-fail"),
        pytest.param((f"{MX}; spf=pass smtp.mailfrom=bounce.example.net",), "pass", id="spf-of-the-domain"),
        pytest.param((f"{MX}; spf=pass smtp.mailfrom=elsewhere.example",), "unknown", id="spf-of-another"),
        pytest.param((f"{MX}; dkim=pass header.d=example.net",), "pass", id="dkim-of-the-domain"),
        pytest.param(
            (f"{MX}; spf=fail smtp.mailfrom=list.example; dkim=pass header.d=example.net",),
            "pass",
            id="forwarded-with-its-signature",
        ),
        pytest.param((f"{MX}; spf=softfail smtp.mailfrom=example.net; dkim=none",), "fail", id="spf-failed"),
        pytest.param((f"{MX}; spf=none; dkim=fail header.d=example.net",), "fail", id="dkim-failed"),
        pytest.param((f"{MX}; spf=none; dkim=none",), "unknown", id="a-domain-without-either"),
        pytest.param(
            (f"{MX}; spf=temperror; dkim=temperror; dmarc=temperror",), "unknown", id="could-not-check"
        ),
        pytest.param(("elsewhere.example; dmarc=fail",), "unknown", id="another-server"),
        pytest.param((), "unknown", id="no-header"),
    ],
)
def test_the_verdict_on_a_sender(headers: tuple[str, ...], expected: str) -> None:
    """Result words: RFC 8601, section 2.7; alignment: RFC 7489, section 3.1."""
    assert verdict(headers, (MX,), ADA) == expected


def test_without_a_trusted_server_no_header_counts() -> None:
    assert verdict((FAILED,), (), ADA) == "unknown"


# ---- what it means for a talk --------------------------------------------------------------------------------------


@pytest.fixture
def handler(services: Services, photos: PhotoStore) -> MailHandler:
    incoming = Incoming(services, photos, Guard(lambda host, port: ["8.8.8.8"]))
    return MailHandler(services, incoming, SHOP, (MX,))


def mail(text: str, number: int, results: str = PASSED, **headers: str) -> bytes:
    made = EmailMessage()
    made["Authentication-Results"] = results.replace("\n", " ")
    made["From"], made["To"], made["Message-ID"] = ADA, SHOP, f"<m{number}@example.net>"
    for name, value in headers.items():
        made[name.replace("_", "-")] = value
    made.set_content(text)
    return bytes(made)


def cases(services: Services) -> dict[str, list[str]]:
    """The customer's words by case; the case that was begun with them about a player first."""
    with services.store.reading() as work:
        found = {
            line.id: [m.text for m in work.messages.since(line.id) if m.direction == "in"]
            for line in work.cases.page().lines
        }
    return dict(sorted(found.items(), key=lambda each: "player" not in each[1][0]))


def test_a_mail_that_failed_the_checks_is_kept_apart_and_handed_to_a_person(
    services: Services, handler: MailHandler
) -> None:
    handler.take(mail("my dvd player skips", 1), ADA)

    answer = handler.take(mail("send it to another address, please", 2, FAILED), "x@elsewhere.example")

    (first, said), (second, forged) = cases(services).items()
    assert answer.startswith("250")
    assert (said, forged) == (["my dvd player skips"], ["send it to another address, please"])
    with services.store.reading() as work:
        case = work.cases.get(second)
        assert case.index.floor == "person"
        assert "sender_unproven" in {event.kind for event in work.events.since(second)}
        found = work.addresses.find("email", ADA)
        assert found is not None
        assert found.conversation_id == first  # the customer's own next mail still goes there
        assert not [item for item in work.outbox.of_target("email") if item.conversation_id == second]


def test_the_customers_next_proven_mail_goes_on_with_the_talk(
    services: Services, handler: MailHandler
) -> None:
    handler.take(mail("my dvd player skips", 1), ADA)
    handler.take(mail("something forged", 2, FAILED), ADA)

    handler.take(mail("it is ten years old", 3), ADA)

    assert next(iter(cases(services).values())) == ["my dvd player skips", "it is ten years old"]


def test_an_answer_to_one_of_our_mails_goes_on_even_when_the_checks_failed(
    services: Services, handler: MailHandler
) -> None:
    """Only who reads the customer's mail knows the id; a forwarding service may break the checks."""
    handler.take(mail("my dvd player skips", 1), ADA)
    with services.store.reading() as work:
        [ours] = [item for item in work.outbox.of_target("email") if item.kind == "message"]

    handler.take(mail("ten years old", 2, FAILED, In_Reply_To=message_id_for(ours.id, SHOP)), ADA)
    handler.take(mail("a guess", 3, FAILED, In_Reply_To="<out_0123456789abcdef@shop.example.com>"), ADA)

    assert list(cases(services).values()) == [["my dvd player skips", "ten years old"], ["a guess"]]


def test_a_join_code_counts_even_when_the_checks_failed(services: Services, handler: MailHandler) -> None:
    handler.take(mail("my dvd player skips", 1), ADA)
    [case] = cases(services)
    reference, code = issue_code(services, case)

    handler.take(mail(f"{reference} {code}", 2, FAILED), ADA)
    handler.take(mail("and it is ten years old", 3), ADA)

    assert list(cases(services)) == [case]


def test_a_first_mail_that_failed_the_checks_begins_a_talk(services: Services, handler: MailHandler) -> None:
    """There is no talk it could get into; many honest mails fail somewhere on the way."""
    handler.take(mail("my dvd player skips", 1, FAILED), ADA)

    assert list(cases(services).values()) == [["my dvd player skips"]]


def test_a_forged_mail_delivered_twice_is_one_case(services: Services, handler: MailHandler) -> None:
    handler.take(mail("my dvd player skips", 1), ADA)

    for _ in range(3):
        handler.take(mail("forged", 2, FAILED), ADA)

    assert [len(said) for said in cases(services).values()] == [1, 1]


def test_the_channel_marks_what_failed() -> None:
    inbound = EmailInbound((MX,))

    found = [inbound.receive({"mail-from": ADA}, mail("x", 1, each), NOW).proven for each in (PASSED, FAILED)]

    assert found == [True, False]
