"""Longer ways through the shop that several tests start from. All people and devices are invented."""

from __future__ import annotations

from typing import Any

from tests.web.shop import STORY, Browser, Shop

ADDRESS = {
    "fact__name": "Ada Example",
    "fact__email": "ada@example.com",
    "fact__address": "1 Invented Road\nSampleton",
    "fact__postcode": "EX1 2AB",
}


def choices(browser: Browser) -> list[str]:
    """Values of the choices on the page that is open."""
    assert browser.page is not None
    buttons = [value for form in browser.page.forms for name, value in form["buttons"] if name == "choice"]
    return [value for value in buttons if value != "picked"]  # "picked" sends what is ticked in a list


def talk_to_estimate(browser: Browser, text: str = STORY, **answers: str) -> str:
    """Talk until there is an estimate: the wanted answer where one is named, else the first choice."""
    talk = browser.talk(text)
    for _ in range(40):
        assert browser.page is not None
        offered = choices(browser)
        if any(value.startswith("decision:") for value in offered):
            return talk
        assert offered, browser.page.text[-600:]
        wanted = next(
            (
                f"{question}:{answer}"
                for question, answer in answers.items()
                if f"{question}:{answer}" in offered
            ),
            offered[0],
        )
        browser.press("/messages", "choice", wanted)
    raise AssertionError("no estimate after forty answers")


def accept(browser: Browser, talk: str, limit: str = "") -> None:
    """Accept by the estimate page, and give name and address."""
    browser.get(f"/talk/{talk}/decision/accept")
    browser.submit("/decision/accept", limit=limit)
    browser.get(f"/talk/{talk}")
    browser.submit("/form", **ADDRESS)


def send(browser: Browser, talk: str) -> None:
    """Say that the box is on its way."""
    browser.get(f"/talk/{talk}/packing")
    browser.submit("/sent")


def check_in(browser: Browser, case: str, **more: Any) -> None:
    """The arrival check with everything here."""
    page = browser.get(f"/bench/{case}/arrival")
    found = {name: ["here"] for name in wanted_items(page.html)}
    browser.submit(
        "/arrival", **{**found, "disc": "here", "weight_kg": "4,4", "screws": "6", "seals": "intact", **more}
    )


def wanted_items(html: str) -> list[str]:
    import re

    return sorted(set(re.findall(r'name="(found\.[^"]+)"', html)))


def shop_with_box_here(shop: Shop, limit: str = "") -> tuple[str, Browser, Browser]:
    """(case, customer, technician): an agreed job whose box has been checked in."""
    customer, technician = shop.browser(), shop.browser("technician")
    talk = talk_to_estimate(customer)
    accept(customer, talk, limit)
    send(customer, talk)
    check_in(technician, talk)
    return talk, customer, technician
