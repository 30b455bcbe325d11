"""The talk keeps itself up to date in a real browser, and a dropped connection loses and doubles nothing."""

from __future__ import annotations

import re

import pytest

from tests.browser.test_browser_axe import cookies
from tests.web.shop import Shop

pytestmark = pytest.mark.browser
AT_ONCE = "document.dispatchEvent(new Event('visibilitychange'))"
"""What the page does when somebody comes back to it: look for news now rather than in a few seconds."""


@pytest.fixture
def opened(live: Shop, chromium):  # type: ignore[no-untyped-def]
    """(shop, page of a customer's talk, case)."""
    customer = live.browser()
    case = customer.talk("my cd player skips")
    context = chromium.new_context()
    context.add_cookies(cookies(customer, live.services.base_url))
    page = context.new_page()
    with page.expect_response(re.compile("/news$")):
        page.goto(f"{live.services.base_url}/talk/{case}")
    yield live, page, case
    context.close()


def shop_writes(shop: Shop, case: str, text: str) -> None:
    desk = shop.browser("desk")
    desk.get(f"/desk/{case}")
    desk.submit("/reply", text=text)


def stored(shop: Shop, case: str) -> list[str]:
    with shop.store.reading() as work:
        return [message.text for message in work.messages.since(case) if message.direction == "in"]


def shown(page, text: str) -> int:  # type: ignore[no-untyped-def]
    return page.locator("#log .said").get_by_text(text, exact=True).count()


def test_what_the_shop_writes_appears_while_the_customer_types(opened) -> None:  # type: ignore[no-untyped-def]
    shop, page, case = opened
    page.get_by_label("Write your answer").press_sequentially("half a sent")
    page.evaluate("window.stayed = true")

    shop_writes(shop, case, "Good morning, this is Dee from the desk.")
    page.evaluate(AT_ONCE)
    page.locator("#log").get_by_text("Good morning, this is Dee from the desk.").wait_for()
    page.wait_for_load_state("networkidle")
    page.keyboard.type("ence")

    assert page.evaluate("window.stayed") is True
    assert page.evaluate("document.activeElement.id") == "text"
    assert page.get_by_label("Write your answer").input_value() == "half a sentence"
    assert shown(page, "Good morning, this is Dee from the desk.") == 1


def test_it_looks_for_news_by_itself(opened) -> None:  # type: ignore[no-untyped-def]
    shop, page, case = opened

    shop_writes(shop, case, "We are here.")

    page.locator("#log").get_by_text("We are here.").wait_for(timeout=9000)
    assert shown(page, "We are here.") == 1


def test_a_dropped_connection_loses_and_doubles_no_message(opened) -> None:  # type: ignore[no-untyped-def]
    """Written without a connection; the shop writes meanwhile; both are there once when the connection is back."""
    shop, page, case = opened
    page.context.set_offline(True)
    page.get_by_label("Write your answer").fill("it is ten years old")
    page.get_by_role("button", name="Send", exact=True).first.click()
    page.locator("#status").get_by_text("Your message is kept here").wait_for()
    shop_writes(shop, case, "Are you there?")
    before = stored(shop, case)

    page.context.set_offline(False)
    page.locator("#log .said.customer").get_by_text("it is ten years old", exact=True).wait_for()
    page.evaluate(AT_ONCE)
    page.locator("#log").get_by_text("Are you there?", exact=True).wait_for()

    assert before == ["my cd player skips"]
    assert stored(shop, case) == ["my cd player skips", "it is ten years old"]
    assert (shown(page, "it is ten years old"), shown(page, "Are you there?")) == (1, 1)
    assert page.get_by_label("Write your answer").input_value() == ""
    page.reload()
    assert (shown(page, "it is ten years old"), shown(page, "Are you there?")) == (1, 1)


def test_an_answer_that_got_lost_on_the_way_back_is_one_message(opened) -> None:  # type: ignore[no-untyped-def]
    """The message arrived, the answer did not: it is sent again under the same id and counts once."""
    shop, page, case = opened
    lost = []

    def lose_the_answer(route) -> None:  # type: ignore[no-untyped-def]
        if lost:
            route.continue_()
            return
        lost.append(route.fetch(max_redirects=0).status)
        page.context.set_offline(True)
        route.abort()

    page.route("**/messages", lose_the_answer)
    page.get_by_label("Write your answer").fill("it is ten years old")
    page.get_by_role("button", name="Send", exact=True).first.click()
    page.locator("#status").get_by_text("Your message is kept here").wait_for()
    arrived = stored(shop, case)

    page.context.set_offline(False)
    page.locator("#log .said.customer").get_by_text("it is ten years old", exact=True).wait_for()

    assert arrived == ["my cd player skips", "it is ten years old"]
    assert stored(shop, case) == arrived
    assert shown(page, "it is ten years old") == 1
