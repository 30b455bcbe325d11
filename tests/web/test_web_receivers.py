"""The desk's page about sending: what does not get through is seen, sent again, set aside, switched off and on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
import responses

from intakebot.channels.guard import Guard
from intakebot.channels.handshake import NOT_ALLOWED
from intakebot.channels.relay import GATEWAY_OFF, NEVER_ANSWERED, NO_MAIL, SWITCHED_OFF, UNCONFIRMED, Relay
from intakebot.definitions import Definitions
from intakebot.receivers import NOT_ASKED_YET
from intakebot.records.endpoints import Endpoint, Gateway, Secret
from intakebot.turns import Via, open_case
from intakebot.web.receivers import BY_HAND
from intakebot.web.receivers_view import plain
from tests.web.shop import NOW, Browser, Shop

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
HOOK, GATE = "https://stock.example.com/events", "https://gateway.example.com/send"


@pytest.fixture
def http() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def add(shop: Shop, *receivers: Endpoint | Gateway) -> None:
    with shop.store.unit_of_work() as work:
        for each in receivers:
            (work.endpoints if isinstance(each, Endpoint) else work.gateways).put(each)
        work.commit()


def stock(**more: object) -> Endpoint:
    return Endpoint("e", HOOK, "Stock system", (), (Secret(SECRET),), NOW, **more)  # type: ignore[arg-type]


def send(shop: Shop, hours: int = 0) -> None:
    """Send all that is due, and go on for some hours."""
    relay = Relay(shop.services.turns, Guard(lambda host, port: ["8.8.8.8"]), workers=1)
    for _ in range(1 + hours // 25):
        while relay.run_once():
            pass
        shop.clock.pass_(hours=25 if hours else 0)


def case(shop: Shop, number: int = 0) -> str:
    turns = shop.services.turns
    return open_case(turns, via=Via("gateway:g", f"+44770090010{number}", "sms"), locale="en").conversation_id


def states(shop: Shop, target: str) -> list[str]:
    with shop.store.reading() as work:
        return [item.state for item in work.outbox.of_target(target) if item.kind != "reminder"]


def buttons(browser: Browser) -> set[str]:
    assert browser.page is not None
    return {
        str(form["action"]).removeprefix("/receivers/")
        for form in browser.page.forms
        if "/receivers/" in str(form["action"])
    }


def test_an_empty_shop_says_so_and_the_desk_shows_no_notice(shop: Shop) -> None:
    desk = shop.browser("desk")

    assert "Nothing is set up that could be sent to." in desk.get("/receivers").text
    assert "Something does not get through." not in desk.get("/desk").text


def test_a_receiver_that_fails_is_named_with_its_trouble_in_plain_words(
    shop: Shop, http: responses.RequestsMock
) -> None:
    http.post(HOOK, status=503)
    http.post(GATE, status=200)
    add(shop, stock(), Gateway("g", GATE, (Secret(SECRET),), NOW))
    case(shop)
    send(shop)

    page = shop.browser("desk").get("/receivers").text

    assert "Stock system not getting through" in page
    assert "It has a fault on its side (503). Since 25 Nov 2026, 09:00." in page
    assert "Waiting: 1. Given up: 0. Next try 25 Nov 2026, 09:00." in page
    assert "g working" in page
    assert page.index("Stock system") < page.index("g working")  # trouble first


def test_a_receiver_gone_for_good_is_switched_on_again_and_gets_everything(
    shop: Shop, http: responses.RequestsMock
) -> None:
    gone = http.post(HOOK, status=410)
    add(shop, stock())
    open_case(shop.services.turns, via=Via("api"), locale="en")
    send(shop)
    desk = shop.browser("desk")
    notice = desk.get("/desk").text
    before = desk.get("/receivers").text
    http.remove(gone)
    http.post(HOOK, status=204)

    after = desk.submit("/receivers/endpoint:e/switch-on").text
    send(shop)

    assert "Something does not get through." in notice
    assert "It said that it is gone for good (410), so it was switched off." in before
    assert "Switch on and send again (1)" in before
    assert "It is switched on again, or asked again." in after
    assert states(shop, "endpoint:e") == ["done"]
    assert "Something does not get through." not in desk.get("/desk").text


def test_after_the_last_retry_one_or_all_can_be_sent_again(shop: Shop, http: responses.RequestsMock) -> None:
    down = http.post(GATE, status=500)
    add(shop, Gateway("g", GATE, (Secret(SECRET),), NOW))
    ids = [case(shop, number) for number in range(3)]
    send(shop, hours=300)
    desk = shop.browser("desk")
    page = desk.get("/receivers")
    http.remove(down)
    http.post(GATE, status=200)
    shown = page.text
    one = next(action for action in sorted(buttons(desk)) if re.fullmatch(r"deliveries/[^/]+/resend", action))
    linked = [f"/desk/{each}" in page.links for each in ids]

    desk.submit(one)
    send(shop)
    first = sorted(states(shop, "gateway:g"))
    desk.get("/receivers")
    desk.submit("/receivers/gateway:g/resend")
    send(shop)

    assert "10 tries, to g, first wanted 25 Nov 2026, 09:00" in shown
    assert linked == [True, True, True]
    assert first == ["done", "failed", "failed"]
    assert states(shop, "gateway:g") == ["done", "done", "done"]


def test_what_is_set_aside_no_longer_asks_for_attention_and_can_be_brought_back(
    shop: Shop, http: responses.RequestsMock
) -> None:
    http.post(GATE, status=500)
    add(shop, Gateway("g", GATE, (Secret(SECRET),), NOW))
    case(shop)
    send(shop, hours=300)
    desk = shop.browser("desk")
    desk.get("/receivers")

    desk.submit("/receivers/gateway:g/set-aside")
    aside = (states(shop, "gateway:g"), "Something does not" in desk.get("/desk").text)
    desk.get("/receivers")
    desk.submit("/receivers/gateway:g/take-up")
    back = (states(shop, "gateway:g"), "Something does not" in desk.get("/desk").text)

    assert aside == (["set_aside"], False)
    assert back == (["failed"], True)


def test_a_test_is_tried_once_and_its_result_is_shown(shop: Shop, http: responses.RequestsMock) -> None:
    http.post(HOOK, status=401)
    http.post(GATE, status=200)
    add(shop, stock(), Gateway("g", GATE, (Secret(SECRET),), NOW))
    desk = shop.browser("desk")
    desk.get("/receivers")
    desk.submit("/receivers/endpoint:e/test")
    desk.submit("/receivers/gateway:g/test")
    send(shop)
    shop.clock.pass_(minutes=20)
    send(shop)

    page = desk.get("/receivers").text

    assert "it did not arrive. It does not let us in (401). The signing secret may be wrong there." in page
    assert "it arrived." in page
    assert len(http.calls) == 2
    assert "Nothing was given up." in page  # a failed test is not a lost message


def test_a_receiver_is_switched_off_and_on_by_hand_without_a_notice(
    shop: Shop, http: responses.RequestsMock
) -> None:
    http.post(HOOK, status=204)
    add(shop, stock())
    desk = shop.browser("desk")
    desk.get("/receivers")
    desk.submit("/receivers/endpoint:e/switch-off")
    off = desk.get("/receivers").text
    open_case(shop.services.turns, via=Via("api"), locale="en")
    send(shop)
    quiet = "Something does not" not in desk.get("/desk").text
    desk.get("/receivers")
    desk.submit("/receivers/endpoint:e/switch-on")
    open_case(shop.services.turns, via=Via("api"), locale="en")
    send(shop)

    assert "Stock system switched off" in off
    assert "Somebody here switched it off." in off
    assert quiet
    assert len(http.calls) == 1


def test_a_receiver_that_has_not_agreed_is_shown_and_can_be_asked_again(
    shop: Shop, http: responses.RequestsMock
) -> None:
    http.add(responses.OPTIONS, HOOK, status=200, headers={"WebHook-Allowed-Origin": "*"})
    add(shop, stock(state="unconfirmed", reason=NOT_ASKED_YET, handshake="required"))
    desk = shop.browser("desk")
    before = desk.get("/receivers").text

    desk.submit("/receivers/endpoint:e/switch-on")
    send(shop)

    assert "Stock system has not agreed yet" in before
    assert "Stock system working" in desk.get("/receivers").text


def test_a_stranger_cannot_replay_to_a_receiver_that_is_off(shop: Shop, http: responses.RequestsMock) -> None:
    """Sending to what is switched off is refused, by button as by hand-made request."""
    http.post(HOOK, status=410)
    add(shop, stock())
    open_case(shop.services.turns, via=Via("api"), locale="en")
    send(shop)
    desk = shop.browser("desk")
    csrf = desk.get("/receivers").form("/receivers/endpoint:e/switch-on")["data"]["csrf"]
    with shop.store.reading() as work:
        [dead] = work.outbox.dead()

    offered = {action for action in buttons(desk) if action.endswith("resend") or action.endswith("test")}
    forced = [
        desk.client.post(f"/receivers/{path}", data={"csrf": csrf}).status_code
        for path in (f"deliveries/{dead.id}/resend", "endpoint:e/resend", "endpoint:e/test")
    ]

    assert offered == set()
    assert forced == [409, 409, 409]
    assert len(http.calls) == 1


def test_a_channel_that_was_added_to_the_code_is_shown_too(shop: Shop) -> None:
    with shop.store.unit_of_work() as work:
        from intakebot.records.outbox import NewItem

        work.outbox.add_all([NewItem("o1", "message", "pager", None, {"type": "x"}, NOW, "a")], NOW)
        work.outbox.fail_target("pager", "the pager is broken", NOW)
        work.commit()
    desk = shop.browser("desk")
    page = desk.get("/receivers").text
    offered = {action for action in buttons(desk) if action.startswith("pager")}

    desk.submit("/receivers/pager/resend")

    assert "pager working Other channel It said: the pager is broken" in page
    assert offered == {"pager/resend", "pager/set-aside"}
    assert states(shop, "pager") == ["waiting"]


def test_hundreds_of_given_up_messages_stay_one_page(shop: Shop) -> None:
    add(shop, Gateway("g", GATE, (Secret(SECRET),), NOW))
    with shop.store.unit_of_work() as work:
        from intakebot.records.outbox import NewItem

        work.outbox.add_all(
            [NewItem(f"o{n}", "event", "gateway:g", None, {"type": "x"}, NOW) for n in range(300)], NOW
        )
        work.outbox.fail_target("gateway:g", GATEWAY_OFF, NOW + timedelta(hours=1))
        work.commit()

    page = shop.browser("owner").get("/receivers")

    assert "Send again (300)" in page.text
    assert page.html.count("/receivers/deliveries/") == 2 * 50


@pytest.mark.parametrize(
    "error",
    [
        SWITCHED_OFF, GATEWAY_OFF, NEVER_ANSWERED, UNCONFIRMED, NO_MAIL, NOT_ALLOWED, NOT_ASKED_YET, BY_HAND,
        "the address cannot be used: expected an https URL", "ConnectTimeout", "ReadTimeout", "SSLError", "ConnectionError",
        "SMTPAuthenticationError", "SMTPServerDisconnected", "5.1.1 no such user", "the receiver answered 410 Gone",
        *(f"the receiver answered {status}" for status in (302, 400, 401, 403, 404, 405, 409, 410, 429, 500, 503)),
    ],
)  # fmt: skip
def test_every_error_has_plain_words_in_every_language(definitions: Definitions, error: str) -> None:
    words = plain(error)

    assert words is not None
    assert words.key != "said" or error == "5.1.1 no such user"
    for locale in definitions.locales:
        text = definitions.core_texts[locale][f"web.receivers.why.{words.key}"]
        assert "Error" not in str(text)
