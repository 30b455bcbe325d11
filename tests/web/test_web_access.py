"""Who may open what: every route has a row here, and every role is tried at every route.

Rules: default deny (OWASP ASVS 5.0, 8.2.1); a stranger's talk and an unknown talk look the same (8.2.2).
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from sqlalchemy import text
from werkzeug.test import TestResponse

from tests.web.shop import PASSWORD, STORY, Browser, Shop

CANARY = "Zebedee Canary"
EVERYBODY, CUSTOMER = {"nobody", "other", "customer", "owner", "desk", "technician"}, {"customer"}
STAFF, OFFICE, BENCH, OWNER = (
    {"owner", "desk", "technician"},
    {"owner", "desk"},
    {"owner", "technician"},
    {"owner"},
)

ROWS: dict[str, set[str]] = {
    "static": EVERYBODY,
    "customer.start": EVERYBODY,
    "customer.begin": EVERYBODY,
    "customer.language": EVERYBODY,
    "customer.resume_page": EVERYBODY,
    "customer.resume": EVERYBODY,
    "customer.talk": CUSTOMER,
    "customer.message": CUSTOMER,
    "customer.whole_form": CUSTOMER,
    "customer.save_form": CUSTOMER,
    "customer.one_fact": CUSTOMER,
    "customer.save_fact": CUSTOMER,
    "customer.add_photo": CUSTOMER,
    "customer.photo": CUSTOMER,
    "customer.ask_erase": CUSTOMER,
    "customer.erase": CUSTOMER,
    "customer.link": CUSTOMER,
    "live.news": CUSTOMER,
    "customer_papers.estimate": CUSTOMER,
    "customer_papers.ask_decision": CUSTOMER,
    "customer_papers.take_decision": CUSTOMER,
    "customer_papers.packing": CUSTOMER,
    "customer_papers.sent": CUSTOMER,
    "customer_papers.status": CUSTOMER,
    "customer_papers.paper": CUSTOMER,
    "customer_papers.label": CUSTOMER,
    "customer_papers.calendar": CUSTOMER,
    "customer_papers.form_json": CUSTOMER,
    "signin.page": EVERYBODY,
    "signin.enter": EVERYBODY,
    "signin.join_page": EVERYBODY,
    "signin.join": EVERYBODY,
    "signin.leave": STAFF,
    "people.everybody": OWNER,
    "people.invite": OWNER,
    "people.change": OWNER,
    "people.end_sessions": OWNER,
    "people.me": STAFF,
    "people.change_password": STAFF,
    "people.end_my_sessions": STAFF,
    "desk.intakes": STAFF,
    "desk.intake": STAFF,
    "desk.by_reference": STAFF,
    "desk.photo": STAFF,
    "desk.rates": STAFF,
    "desk.calendar": STAFF,
    "desk.export": OFFICE,
    "desk_actions.reply": OFFICE,
    "desk_actions.take": OFFICE,
    "desk_actions.give_back": OFFICE,
    "desk_actions.one_fact": STAFF,
    "desk_actions.save_fact": STAFF,
    "desk_actions.quote": OFFICE,
    "desk_actions.hold": OFFICE,
    "desk_actions.release": OFFICE,
    "desk_actions.clear_stop": OFFICE,
    "desk_actions.decline": OFFICE,
    "desk_actions.link": OFFICE,
    "desk_actions.add_photo": STAFF,
    "receivers.overview": OFFICE,
    "receivers.act": OFFICE,
    "receivers.act_on_delivery": OFFICE,
    "bench.jobs": STAFF,
    "bench.pretriage": STAFF,
    "bench.arrival": STAFF,
    "bench.record_arrival": STAFF,
    "bench.job": STAFF,
    "bench.start": BENCH,
    "bench.result": BENCH,
    "bench.undo": BENCH,
    "bench.ask": STAFF,
    "closing.acceptance": STAFF,
    "closing.record_acceptance": BENCH,
    "closing.outcome": STAFF,
    "closing.record_outcome": BENCH,
    "closing.pack_back": STAFF,
    "closing.record_return": STAFF,
    "closing.hand_over": STAFF,
    "staff_papers.paper": STAFF,
    "staff_papers.on_screen": STAFF,
    "staff_papers.label": STAFF,
    "staff_papers.form_json": OFFICE,
    "staff_papers.form_csv": OFFICE,
}
ALWAYS_LAST = {"signin.leave", "customer.erase"}
"""Left out of the tour with an allowed caller: they end the caller's own session or case, tested on their own."""


def routes(shop: Shop) -> list[tuple[str, str, Any]]:
    """(endpoint, method, rule) of every route of the pages, HEAD and OPTIONS left out.

    The JSON API (endpoints `api.`) checks its callers itself and has its own matrix in test_api_*.
    """
    return [
        (rule.endpoint, method, rule)
        for rule in shop.app.url_map.iter_rules()
        if not rule.endpoint.startswith("api.")
        for method in sorted(rule.methods & {"GET", "POST", "PUT", "PATCH", "DELETE"})
    ]


def fill(shop: Shop, rule: Any, talk: str) -> str:
    """The address of a route for one case; papers and facts that exist."""
    values = {
        "talk": talk, "case": talk, "fact": "noise", "photo": "none", "decision": "accept", "name": "form", "user": "none",
        "code": "none", "reference": "AAA-AAAA", "filename": "look.css",
        "target": "email", "item": "none", "action": "set-aside",
    }  # fmt: skip
    with shop.app.test_request_context():
        return shop.app.url_map.bind("localhost").build(
            rule.endpoint, {name: values[name] for name in rule.arguments}
        )


def token_of(browser: Browser) -> str:
    browser.get("/sign-in")
    assert browser.page is not None
    return str(browser.page.form("/language")["data"]["csrf"][0])


def call(browser: Browser, method: str, path: str, token: str) -> TestResponse:
    if method == "GET":
        return browser.client.get(path, buffered=True)
    return browser.client.open(path, method=method, data={"csrf": token, "version": "1"}, buffered=True)


def was_let_in(response: TestResponse) -> bool:
    """Whether the view itself answered (also with 'there is no such photo' or 'not now')."""
    to_sign_in = response.status_code == 302 and "/sign-in?" in response.headers["Location"]
    return not to_sign_in and response.status_code not in (401, 403)


def everything(shop: Shop) -> str:
    """All rows of all tables, for comparing before and after (when somebody was last seen may move)."""
    from intakebot.records.tables import metadata

    with shop.store.reading() as work:
        rows = {
            table.name: sorted(
                str({key: value for key, value in row._mapping.items() if key != "seen_at"})
                for row in work.connection.execute(table.select())
            )
            for table in metadata.sorted_tables
        }
    return json.dumps(rows, sort_keys=True)


@pytest.fixture
def visitors(shop: Shop) -> dict[str, Browser]:
    browsers = {role: shop.browser(role) for role in ("owner", "desk", "technician")}
    browsers |= {"nobody": shop.browser(), "other": shop.browser(), "customer": shop.browser()}
    browsers["other"].talk("my cd player skips")
    return browsers


def test_every_route_has_a_row_and_every_row_a_route(shop: Shop) -> None:
    assert {endpoint for endpoint, _, _ in routes(shop)} == set(ROWS)


@pytest.mark.parametrize("role", sorted(EVERYBODY))
def test_each_role_gets_in_exactly_where_its_row_says(
    shop: Shop, visitors: dict[str, Browser], role: str
) -> None:
    talk = visitors["customer"].talk(f"{STORY} I am {CANARY}.")
    browser, token = visitors[role], token_of(visitors[role])
    wrong, leaks = [], []

    for endpoint, method, rule in routes(shop):
        if endpoint in ALWAYS_LAST and role in ROWS[endpoint]:
            continue
        before = everything(shop) if method != "GET" and role not in ROWS[endpoint] else None
        response = call(browser, method, fill(shop, rule, talk), token)
        expected = role in ROWS[endpoint]
        if ROWS[endpoint] == CUSTOMER and not expected:
            if response.status_code != 404:
                wrong.append((endpoint, method, response.status_code))
        elif was_let_in(response) != expected:
            wrong.append((endpoint, method, response.status_code))
        if not expected and CANARY in response.get_data(as_text=True):
            leaks.append((endpoint, method))
        if before is not None and everything(shop) != before:
            wrong.append((endpoint, method, "changed something"))

    assert (wrong, leaks) == ([], [])


def test_a_view_without_a_declaration_cannot_be_reached(shop: Shop) -> None:
    shop.app.view_functions["forgotten"] = lambda: "secret"
    shop.app.url_map._remap = True
    from werkzeug.routing import Rule

    shop.app.url_map.add(Rule("/forgotten", endpoint="forgotten", methods=["GET"]))

    answers = [shop.browser(role).client.get("/forgotten").status_code for role in (None, "owner")]

    assert answers == [403, 403]


def test_a_signed_in_browser_means_nothing_to_the_api(shop: Shop) -> None:
    owner = shop.browser("owner")

    answers = [
        owner.client.get("/api/v1/intakes").status_code,
        owner.client.post("/api/v1/intakes/none/quotes", json={"reason": "x"}).status_code,
    ]

    assert [answer for answer in answers if answer < 400] == []


def test_unknown_and_foreign_talks_answer_the_same(shop: Shop) -> None:
    mine, theirs = shop.browser(), shop.browser()
    theirs.talk("my cd player skips")
    talk = mine.talk()

    foreign = theirs.client.get(f"/talk/{talk}").get_data(as_text=True)
    unknown = theirs.client.get("/talk/c_00000000000000000000000000000000").get_data(as_text=True)

    assert foreign.replace(talk, "") == unknown.replace("c_00000000000000000000000000000000", "")


def test_reading_pages_changes_nothing(shop: Shop, visitors: dict[str, Browser]) -> None:
    """Every GET, by somebody who may, leaves every table as it was (ASVS 5.0, 3.5.3)."""
    talk = visitors["customer"].talk()
    before = everything(shop)

    for endpoint, method, rule in routes(shop):
        if method == "GET":
            role = sorted(ROWS[endpoint] & {"owner"} or ROWS[endpoint])[0]
            visitors[role].client.get(fill(shop, rule, talk), buffered=True)

    assert everything(shop) == before


def test_no_change_without_a_token_of_ones_own(shop: Shop, visitors: dict[str, Browser]) -> None:
    """For every POST: no token, another visitor's token, another site (ASVS 5.0, 3.5.1)."""
    talk = visitors["customer"].talk()
    foreign = token_of(visitors["nobody"])
    wrong = []
    before = everything(shop)

    for endpoint, method, rule in routes(shop):
        if method == "GET":
            continue
        role = sorted(ROWS[endpoint] & {"owner"} or ROWS[endpoint])[0]
        role = "owner" if ROWS[endpoint] == EVERYBODY else role
        client, path, own = visitors[role].client, fill(shop, rule, talk), token_of(visitors[role])
        tries = [
            client.open(path, method=method, data={}),
            client.open(path, method=method, data={"csrf": foreign}),
            client.open(
                path, method=method, data={"csrf": own}, headers={"Origin": "https://elsewhere.example"}
            ),
            client.open(path, method=method, data={"csrf": own}, headers={"Origin": "null"}),
            client.open(path, method=method, data={"csrf": own}, headers={"Sec-Fetch-Site": "cross-site"}),
            client.open(path, method=method, json={"csrf": own}),
            client.open(path, method=method, data=f"csrf={own}", content_type="text/plain"),
        ]
        wrong += [
            (endpoint, number, answer.status_code)
            for number, answer in enumerate(tries)
            if answer.status_code != 403
        ]

    assert wrong == []
    assert everything(shop) == before


def test_tokens_differ_between_visitors_and_change_at_sign_in(shop: Shop) -> None:
    shop.hire("owner")
    first, second = shop.browser(), shop.browser()
    before = token_of(first)

    first.sign_in("owner", PASSWORD)

    assert len({before, token_of(first), token_of(second)}) == 3


def test_the_database_holds_no_usable_token(shop: Shop) -> None:
    """Cookies are found by their hash only (ASVS 5.0, 11.5.1: tokens at rest)."""
    customer, owner = shop.browser(), shop.browser("owner")
    customer.talk()
    secrets = [cookie.value for browser in (customer, owner) for cookie in browser.client._cookies.values()]
    parts = [part for value in secrets for part in value.replace("|", ".").split(".") if len(part) >= 40]

    dump = everything(shop)
    with shop.store.reading() as work:
        work.connection.execute(text("select 1"))

    assert len(parts) >= 3
    assert [part for part in parts if part in dump] == []
