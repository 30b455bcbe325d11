"""axe-core on every page, in both themes and at both widths: no violation, nothing wider than the screen.

Rule sets: axe's wcag2a, wcag2aa, wcag21a, wcag21aa, wcag22aa and best-practice. Touch targets are measured as well:
44 px for controls that stand alone (own rule; WCAG 2.2, 2.5.8 asks for 24).
"""

from __future__ import annotations

import io
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

from tests.web.shop import PASSWORD, Browser, Shop
from tests.web.ways import accept, check_in, send, talk_to_estimate

pytestmark = pytest.mark.browser

LOOKS = [(width, scheme) for width in (320, 1280) for scheme in ("light", "dark")]
OPTIONS = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],  # every rule runs; only violations are listed node by node
}
SMALL_TARGETS = """() => [...document.querySelectorAll('button, .button, .tap, nav a, select, summary, label.option, input:not([type=hidden])')]
  .filter(e => e.offsetParent !== null && !e.closest('label.option input') && !(e.type === 'radio' || e.type === 'checkbox'))
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, r]) => r.width > 1 && (r.height < 43.5 || r.width < 43.5))
  .map(([e, r]) => `${e.tagName} ${e.className} ${e.textContent.trim().slice(0, 30)} ${Math.round(r.width)}x${Math.round(r.height)}`)"""


def cookies(browser: Browser, base_url: str) -> list[dict[str, str]]:
    """A plain browser's cookies, for Chromium."""
    return [
        {"name": cookie.key, "value": cookie.value, "url": base_url}
        for cookie in browser.client._cookies.values()
    ]


def scenes(live: Shop) -> list[tuple[str, Browser, str]]:
    """(name, who looks, address) of every page worth a look, with a job in each stage behind it."""
    customer, smoke, fresh = live.browser(), live.browser(), live.browser()
    owner = live.browser("owner")
    case = talk_to_estimate(customer)
    estimate = live.browser()
    second = talk_to_estimate(estimate)
    accept(customer, case)
    send(customer, case)
    check_in(owner, case)
    stop = smoke.talk("Smoke came out of my dvd player and it smells burnt.")
    talk = fresh.talk("My dvd player does not turn on.")
    owner.get(f"/desk/{talk}")
    owner.submit("/reply", text="Good morning, this is the desk.")
    join = live.browser()
    from intakebot.web.accounts import invitation_link

    link = invitation_link(live.services, "new", "New Example", "desk").removeprefix(live.services.base_url)
    put_receivers(live)
    return [
        ("start", live.browser(), "/"),
        ("talk", fresh, f"/talk/{talk}"),
        ("talk with a stop sign", smoke, f"/talk/{stop}"),
        ("talk to decide", estimate, f"/talk/{second}"),
        ("one fact", fresh, f"/talk/{talk}/facts/noise"),
        ("one-page form", fresh, f"/talk/{talk}/form"),
        ("no estimate yet", fresh, f"/talk/{talk}/estimate"),
        ("estimate", estimate, f"/talk/{second}/estimate"),
        ("accept", estimate, f"/talk/{second}/decision/accept"),
        ("decline", estimate, f"/talk/{second}/decision/decline"),
        ("packing", customer, f"/talk/{case}/packing"),
        ("status", customer, f"/talk/{case}/status"),
        ("erase", fresh, f"/talk/{talk}/erase"),
        ("resume", join, "/resume/none"),
        ("no such page", join, "/nothing"),
        ("sign in", join, "/sign-in"),
        ("join", join, link),
        ("desk", owner, "/desk?waits_for=all"),
        ("intake", owner, f"/desk/{case}"),
        ("intake with a stop sign", owner, f"/desk/{stop}"),
        ("intake of a person's talk", owner, f"/desk/{talk}"),
        ("staff fact", owner, f"/desk/{talk}/facts/noise"),
        ("paper on screen", owner, f"/desk/{case}/papers/estimate"),
        ("bench jobs", owner, "/bench"),
        ("pre-triage", owner, f"/bench/{case}/pretriage"),
        ("arrival", owner, f"/bench/{case}/arrival"),
        ("bench", owner, f"/bench/{case}"),
        ("bench before arrival", owner, f"/bench/{second}"),
        ("acceptance", owner, f"/bench/{case}/acceptance"),
        ("outcome", owner, f"/bench/{case}/outcome"),
        ("return", owner, f"/bench/{case}/return"),
        ("rates", owner, "/rates"),
        ("calendar", owner, "/calendar"),
        ("sending", owner, "/receivers"),
        ("people", owner, "/people"),
        ("me", owner, "/me"),
    ]


def put_receivers(shop: Shop) -> None:
    """One receiver of each state, one delivery given up and one set aside."""
    from intakebot.records.endpoints import Endpoint, Gateway, Secret
    from intakebot.records.outbox import NewItem
    from tests.web.shop import NOW

    secret = (Secret("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"),)
    url = "https://stock.example.com/a/rather/long/address/that/has/to/wrap/somewhere/on/a/small/screen"
    with shop.store.unit_of_work() as work:
        work.endpoints.put(Endpoint("works", url, "", (), secret, NOW))
        work.endpoints.put(Endpoint("fails", url, "Stock system", (), secret, NOW, failing_since=NOW))
        work.endpoints.put(
            Endpoint("asks", url, "Accounts", (), secret, NOW, "unconfirmed", "x", handshake="required")
        )
        work.gateways.put(
            Gateway("phones", url, secret, NOW, state="disabled", reason="the receiver answered 410 Gone")
        )
        for number, target in enumerate(("endpoint:fails", "gateway:phones", "endpoint:works")):
            body = {"type": "intakebot.estimate.ready"}
            work.outbox.add_all([NewItem(f"out_{number}", "event", target, None, body, NOW)], NOW)
        work.outbox.fail_target("endpoint:fails", "the receiver answered 503", NOW)
        work.outbox.fail_target("gateway:phones", "the receiver answered 410 Gone", NOW)
        work.outbox.set_aside(NOW, item_id="out_1")
        work.commit()


def test_no_violation_on_any_page_in_any_look(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    axe, wrong, looked = Axe(), [], 0
    base = live.services.base_url

    for name, who, path in scenes(live):
        context = chromium.new_context(bypass_csp=True)  # axe has to be put into the page
        context.add_cookies(cookies(who, base))
        page = context.new_page()
        page.goto(base + path)
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        for width, scheme in LOOKS:
            page.set_viewport_size({"width": width, "height": 900})
            page.emulate_media(color_scheme=scheme)
            result = axe.run(page, options=OPTIONS)
            wrong += [
                (name, width, scheme, found["id"], found["nodes"][0]["html"][:160])
                for found in result.response["violations"]
            ]
            looked += 1
            if page.evaluate("document.documentElement.scrollWidth") > width:
                wrong.append((name, width, scheme, "wider than the screen", ""))
            if scheme == "light":
                wrong += [
                    (name, width, scheme, "small target", target) for target in page.evaluate(SMALL_TARGETS)
                ]
        context.close()

    assert wrong == []
    assert looked == 36 * 4


def test_text_can_be_enlarged_and_spaced(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    """WCAG 1.4.4 and 1.4.12: at 200 % and with the spacing of 1.4.12 nothing is cut off or overlaps the screen's edge."""
    fresh = live.browser()
    talk = fresh.talk("My dvd player does not turn on.")
    context = chromium.new_context(viewport={"width": 640, "height": 900}, bypass_csp=True)
    context.add_cookies(cookies(fresh, live.services.base_url))
    page = context.new_page()
    page.goto(f"{live.services.base_url}/talk/{talk}")

    page.add_style_tag(
        content="html{font-size:200%} *{line-height:1.5 !important;letter-spacing:.12em !important;word-spacing:.16em !important} p{margin-bottom:2em !important}"
    )

    assert page.evaluate("document.documentElement.scrollWidth") <= 640
    context.close()


def test_the_pre_triage_page_prints_on_one_page(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    case = talk_to_estimate(live.browser())
    technician = live.browser("technician")
    context = chromium.new_context()
    context.add_cookies(cookies(technician, live.services.base_url))
    page = context.new_page()
    page.goto(f"{live.services.base_url}/bench/{case}/pretriage")

    pages = {paper: len(PdfReader(io.BytesIO(page.pdf(format=paper))).pages) for paper in ("A4", "Letter")}

    assert pages == {"A4": 1, "Letter": 1}
    context.close()


def test_the_password_field_takes_pasted_text(live: Shop, chromium) -> None:  # type: ignore[no-untyped-def]
    """WCAG 3.3.8: no puzzle, nothing to remember or copy by hand."""
    live.hire("owner")
    page = chromium.new_page()
    page.goto(f"{live.services.base_url}/sign-in")

    page.get_by_label("Name you sign in with").fill("owner")
    page.get_by_label("Password").focus()
    page.keyboard.insert_text(PASSWORD)
    page.keyboard.press("Enter")

    page.wait_for_url(re.compile("/desk"))
    page.close()
