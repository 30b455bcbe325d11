"""The three people's whole ways in a real browser, from the first word to the returned box; and one by keyboard only."""

from __future__ import annotations

import re

import pytest

from intakebot.conversation import Conversation
from intakebot.workshop import Job
from tests.web.shop import PASSWORD, STORY, Shop

pytestmark = pytest.mark.browser


def press(page, name: str) -> None:  # type: ignore[no-untyped-def]
    page.get_by_role("button", name=name, exact=True).first.click()
    page.wait_for_load_state()


def sign_in(page, base: str, login: str) -> None:  # type: ignore[no-untyped-def]
    page.goto(f"{base}/sign-in")
    page.get_by_label("Name you sign in with").fill(login)
    page.get_by_label("Password").fill(PASSWORD)
    press(page, "Sign in")
    page.wait_for_url(re.compile("/desk"))


def answer_until_the_estimate(page) -> None:  # type: ignore[no-untyped-def]
    for _ in range(40):
        if page.get_by_role("button", name="Yes, repair it").count():
            return
        said = page.locator("#log .said").count()
        page.locator(".choices button:not([value=picked])").first.click()
        page.locator("#log .said").nth(said).wait_for()
        page.wait_for_load_state("networkidle")
    raise AssertionError("no estimate after forty answers")


def test_from_the_first_word_to_the_returned_box(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    base, errors = live.services.base_url, []
    for role in ("owner", "desk", "technician"):
        live.hire(role)
    contexts = {who: chromium.new_context() for who in ("customer", "desk", "technician")}
    pages = {who: context.new_page() for who, context in contexts.items()}
    for page in pages.values():
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    customer, desk, technician = pages["customer"], pages["desk"], pages["technician"]

    # The customer talks; the form fills itself in beside the talk, without the page being loaded anew.
    customer.goto(base)
    customer.get_by_label("In your own words").fill(STORY)
    press(customer, "Start")
    case = re.search(r"/talk/([^/?#]+)", customer.url).group(1)  # type: ignore[union-attr]
    customer.evaluate("window.stayed = true")
    answer_until_the_estimate(customer)
    assert customer.evaluate("window.stayed") is True
    assert customer.locator("#form .held.confirmed").count() > 3

    # The estimate, accepted on its own page; name and address in the talk.
    customer.get_by_role("link", name="See the estimate").click()
    assert customer.get_by_text("Never more than").first.is_visible()
    customer.get_by_role("link", name="Accept", exact=True).click()
    press(customer, "I accept")
    customer.goto(f"{base}/talk/{case}")
    customer.get_by_label("Name", exact=True).fill("Ada Example")
    customer.get_by_label("E-mail", exact=True).fill("ada@example.com")
    customer.get_by_label("Address", exact=True).fill("1 Invented Road\nSampleton")
    press(customer, "Save")
    customer.goto(f"{base}/talk/{case}/packing")
    press(customer, "The box is on its way")

    # The desk finds the case by what it waits for, writes, and gives the talk back.
    sign_in(desk, base, "desk")
    desk.get_by_role("link", name=re.compile("a box")).click()
    desk.get_by_role("link", name=re.compile(r"^[A-Z0-9]{3}-[A-Z0-9]{4}$")).click()
    desk.get_by_label("Write to the customer").fill("We look out for it, Ada.")
    press(desk, "Send")
    press(desk, "Give the talk back to the assistant")
    customer.goto(f"{base}/talk/{case}")
    assert customer.get_by_text("We look out for it, Ada.").is_visible()

    # The technician reads the pre-triage, checks the box in, works until it plays, and packs.
    sign_in(technician, base, "technician")
    technician.goto(f"{base}/bench/{case}/pretriage")
    assert technician.locator("svg.picture").count() == 2
    technician.goto(f"{base}/bench/{case}/arrival")
    for group in (
        technician.locator("fieldset.field").filter(has=technician.get_by_label("here", exact=True)).all()
    ):
        group.get_by_label("here", exact=True).check()
    technician.get_by_label("it is there").check()
    technician.get_by_label("Weight in kg").fill("4.4")
    press(technician, "Save the arrival")
    press(technician, "Start the clock")
    press(technician, "Done")
    press(technician, "Undo the last result")
    press(technician, "Done")
    press(technician, "Test passed")
    technician.get_by_role("link", name="Acceptance list").first.click()
    for passed in technician.get_by_label("passed", exact=True).all():
        passed.check()
    press(technician, "Save")
    technician.get_by_label("repaired", exact=True).check()
    technician.get_by_label("Jammed disc").check()
    press(technician, "Save the outcome")
    for item in technician.locator("input[name=contents]").all():
        item.check()
    technician.get_by_label("in the box", exact=True).check()
    press(technician, "Save")
    press(technician, "Handed over")

    with live.store.reading() as work:
        stored = work.cases.get(case)
    job = Job.of(stored)
    customer.goto(f"{base}/talk/{case}/status")
    assert customer.get_by_role("heading", name="The work is finished").is_visible()
    assert (job.outcome["ending"], job.collected, stored.index.waits_for) == ("fixed", True, "nothing")  # type: ignore[index]
    assert errors == []
    for context in contexts.values():
        context.close()


def test_a_whole_intake_by_keyboard_only(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    """WCAG 2.1.1, 2.1.2, 2.4.3: everything is reached by Tab, nothing traps, focus stays where the person is."""
    page = chromium.new_page(viewport={"width": 1280, "height": 900})
    page.goto(live.services.base_url)

    def tab_to(wanted: str) -> None:
        for _ in range(140):
            page.keyboard.press("Tab")
            here = page.evaluate(
                "() => { const e = document.activeElement; return [e.id, e.name || '', (e.textContent || '').trim()].join('|'); }"
            )
            if re.search(wanted, here):
                box = page.evaluate(
                    "() => { const r = document.activeElement.getBoundingClientRect(); return [r.top, r.bottom]; }"
                )
                assert -1 <= box[0] < 900, "focus is out of sight"
                return
        raise AssertionError(f"{wanted} is not reached by Tab")

    tab_to(r"^f-text")
    page.keyboard.type("My dvd player does not turn on.")
    tab_to(r"Start$")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/talk/"))
    case = re.search(r"/talk/([^/?#]+)", page.url).group(1)  # type: ignore[union-attr]
    for _ in range(40):
        if page.get_by_role("button", name="Yes, repair it").count():
            break
        said = page.locator("#log .said").count()
        boxes = page.locator("input[name=pick]")
        if boxes.count():
            tab_to(r"^\|pick\|")
            if said > 4:  # the first list is about safety: none of these
                page.keyboard.press("Space")
                assert page.locator("input[name=pick]:checked").count() == 1
            tab_to(r"^\|choice\|" + ("Send these" if said > 4 else "None of these"))
        else:
            tab_to(r"^\|choice\|")
        page.keyboard.press("Enter")
        page.locator("#log .said").nth(said).wait_for()
        page.wait_for_load_state("networkidle")
        focus = page.evaluate("document.activeElement.id")
        assert focus in ("composer", ""), focus
    tab_to(r"^\|choice\|Yes, repair it")
    page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)
    if page.get_by_role("button", name=re.compile("Yes")).count():
        tab_to(r"^\|choice\|Yes")
        page.keyboard.press("Enter")
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(200)

    with live.store.reading() as work:
        stored = Conversation.from_mapping(work.cases.get(case).conversation)
    assert stored.phase == "accepted"
    page.close()


def test_a_message_is_sent_with_enter_and_focus_stays_in_the_box(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    page = chromium.new_page()
    page.goto(live.services.base_url)
    page.get_by_label("In your own words").fill("my cd player skips")
    press(page, "Start")
    said = page.locator("#log .said").count()

    page.get_by_label("Write your answer").fill("it is ten years old")
    page.keyboard.press("Enter")
    page.locator("#log .said").nth(said).wait_for()
    page.wait_for_load_state("networkidle")

    assert page.evaluate("document.activeElement.id") == "text"
    assert page.locator("#log .said.customer").last.inner_text().endswith("it is ten years old")
    page.close()


def test_without_javascript_the_same_buttons_work(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(live.services.base_url)
    page.get_by_label("In your own words").fill("My dvd player does not turn on.")
    page.get_by_role("button", name="Start").click()
    first = page.locator(".said").count()

    page.get_by_role("button", name="None of these").click()

    assert page.locator(".said").count() > first
    assert "#latest" in page.url
    context.close()


def test_a_list_is_ticked_and_sent_without_javascript(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    """Two ticks and one button; sending nothing says what to do and loses nothing."""
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(live.services.base_url)
    page.get_by_label("In your own words").fill("My dvd player is broken.")
    page.get_by_role("button", name="Start").click()
    page.get_by_role("button", name="None of these").click()

    page.get_by_role("button", name="Send these").click()
    assert page.get_by_text("Please tick what fits").is_visible()

    boxes = page.locator("input[name=pick]")
    labels = [box.locator("xpath=..").inner_text() for box in boxes.all()[-2:]]
    for box in boxes.all()[-2:]:
        box.check()
    page.get_by_role("button", name="Send these").click()

    assert page.locator(".said.customer").last.inner_text().endswith(", ".join(labels))
    context.close()


def test_a_lost_connection_falls_back_to_the_plain_form(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    """The script's request is cut off; the form goes the plain way, and the message arrives once."""
    page = chromium.new_page()
    page.goto(live.services.base_url)
    page.get_by_label("In your own words").fill("my cd player skips")
    press(page, "Start")
    page.route(
        "**/messages",
        lambda route: route.abort() if route.request.resource_type == "fetch" else route.continue_(),
    )

    page.get_by_label("Write your answer").fill("it is ten years old")
    press(page, "Send")
    page.get_by_text("it is ten years old", exact=True).wait_for()

    assert page.get_by_text("it is ten years old", exact=True).count() == 1
    page.close()
