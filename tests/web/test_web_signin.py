"""Signing in: the first owner, passwords, throttling, sessions. Rules from OWASP ASVS 5.0, chapters 6, 7 and 11.4."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from intakebot.errors import NotAllowedError
from intakebot.records.tokens import hash_secret
from intakebot.web import accounts, passwords
from intakebot.web.signin import first_owner_link, local_path
from intakebot.web.throttle import Throttle
from tests.web.shop import NOW, PASSWORD, Shop


def session_of(browser) -> str:  # type: ignore[no-untyped-def]
    return next(cookie.value for cookie in browser.client._cookies.values() if cookie.key == "session")


# ---- the first owner


def test_first_owner_link_works_once_and_only_the_newest(shop: Shop) -> None:
    old, link = first_owner_link(shop.services), first_owner_link(shop.services)
    assert old is not None
    assert link is not None
    browser = shop.browser()

    assert browser.get(old.removeprefix("http://localhost")).status == 404
    browser.get(link.removeprefix("http://localhost"))
    page = browser.submit("", login="boss", name="Bo Example", password=PASSWORD)

    assert (page.status, page.response.request.path) == (200, "/desk")
    assert browser.get(link.removeprefix("http://localhost")).status == 404
    assert first_owner_link(shop.services) is None


def test_first_owner_link_is_too_old_after_a_day(shop: Shop) -> None:
    link = first_owner_link(shop.services)
    assert link is not None

    shop.clock.pass_(hours=24, seconds=1)

    assert shop.browser().get(link.removeprefix("http://localhost")).status == 404


def test_there_is_no_second_first_owner(shop: Shop) -> None:
    link = first_owner_link(shop.services)
    assert link is not None
    code = link.rsplit("/", 1)[1]
    accounts.join(shop.services, code, "boss", "Bo Example", PASSWORD)

    second = accounts._new_code(shop.services, accounts.FIRST_OWNER, {"role": "owner"})
    with pytest.raises(NotAllowedError):
        accounts.join(shop.services, second, "thief", "Th Example", PASSWORD)


def test_a_weak_password_is_refused_and_the_link_stays_good(shop: Shop) -> None:
    link = first_owner_link(shop.services)
    assert link is not None
    browser = shop.browser()
    browser.get(link.removeprefix("http://localhost"))

    refused = browser.submit("", login="boss", name="Bo Example", password="password1234")
    taken = browser.submit("", login="boss", name="Bo Example", password=PASSWORD)

    assert (refused.status, taken.response.request.path) == (422, "/desk")


def test_nobody_can_sign_in_before_the_first_owner_joined(shop: Shop) -> None:
    pages = [
        shop.browser().sign_in(login, password)
        for login, password in (("admin", "admin"), ("owner", ""), ("", ""))
    ]

    assert {page.status for page in pages} == {422}


# ---- passwords


@pytest.mark.parametrize(
    ("password", "reason"),
    [
        pytest.param("elevenchars", "too_short", id="eleven-characters"),
        pytest.param("x" * 201, "too_long", id="over-two-hundred"),
        pytest.param("aaaaaaaaaaaa", "too_simple", id="one-character"),
        pytest.param("abababababab", "too_simple", id="two-characters"),
        pytest.param("123456789012", "too_simple", id="a-run"),
        pytest.param("Password1234", "too_common", id="a-leaked-word-and-digits"),
        pytest.param("passwordpassword", "too_common", id="a-leaked-word-twice"),
        pytest.param("Lantern2026!", "too_close", id="the-shop-and-a-year"),
        pytest.param("ada.example1", "too_close", id="the-person-and-a-digit"),
        pytest.param("blue chalk under the ladder", None, id="a-few-words"),
        pytest.param("  spaces stay   ", None, id="spaces-kept"),
        pytest.param(
            "\U0001f600\U0001f601\U0001f602\U0001f603\U0001f604 eight more", None, id="other-alphabets"
        ),
        pytest.param("y7" + "q8w9" * 49, None, id="long-but-allowed"),
    ],
)
def test_which_passwords_are_taken(password: str, reason: str | None) -> None:
    assert passwords.weakness(password, ("ada.example@example.com", "Lantern Lane Disc Repair")) == reason


def test_stored_hash_is_argon2id_with_the_listed_cost() -> None:
    """ASVS 5.0, Appendix C: argon2id with t = 2 needs m >= 19456 KiB; p = 1."""
    stored = passwords.hash_password(PASSWORD)

    kind, memory, rounds, lanes = re.match(r"\$(\w+)\$v=19\$m=(\d+),t=(\d+),p=(\d+)\$", stored).groups()  # type: ignore[union-attr]

    assert (kind, int(memory) >= 19456, int(rounds) >= 2, lanes) == ("argon2id", True, True, "1")


def test_passwords_are_compared_whole() -> None:
    """No truncation (bcrypt's 72 bytes is the classic) and no trimming."""
    stored = passwords.hash_password("z" * 40 + PASSWORD * 3)

    assert passwords.password_matches(stored, "z" * 40 + PASSWORD * 3)
    assert not passwords.password_matches(stored, "z" * 40 + PASSWORD * 3 + " ")
    assert not passwords.password_matches(stored, "z" * 40 + PASSWORD * 2)
    assert not passwords.password_matches(None, PASSWORD)
    assert not passwords.password_matches("not a hash", PASSWORD)


def test_an_older_cheaper_hash_is_made_anew_at_sign_in(shop: Shop) -> None:
    from dataclasses import replace

    from argon2 import PasswordHasher

    shop.hire("owner")
    cheap = PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(PASSWORD)
    with shop.store.unit_of_work() as work:
        work.users.save(replace(work.users.by_login("owner"), password_hash=cheap))
        work.commit()

    shop.browser().sign_in("owner")

    with shop.store.reading() as work:
        assert "m=19456,t=2" in work.users.by_login("owner").password_hash


# ---- guessing


def test_unknown_name_and_wrong_password_look_the_same(shop: Shop) -> None:
    shop.hire("owner")

    known, unknown = (
        shop.browser().sign_in("owner", "wrong wrong wrong"),
        shop.browser().sign_in("nobody", "wrong wrong wrong"),
    )

    strip = re.compile(r'value="[^"]*"')
    assert (known.status, strip.sub("", known.html)) == (unknown.status, strip.sub("", unknown.html))


def test_guessing_is_slowed_down_and_a_right_password_waits_too(shop: Shop) -> None:
    shop.hire("owner")
    browser = shop.browser()
    statuses = [browser.sign_in("owner", f"guess number {number}").status for number in range(4)]

    waiting = browser.sign_in("owner", PASSWORD)
    shop.clock.pass_(seconds=3)
    late = browser.sign_in("owner", PASSWORD)

    assert statuses == [422] * 4
    assert (waiting.status, waiting.response.headers["Retry-After"]) == (
        429,
        "2",
    )  # 2 ** 1 seconds after the fifth try
    assert late.response.request.path == "/desk"


def test_ten_thousand_guesses_take_weeks_and_nobody_is_locked_out() -> None:
    """Waiting times double to 15 minutes: 10,000 guesses at one name take about 9,987 x 15 minutes = 104 days."""
    throttle, now = Throttle(), NOW
    for _ in range(10_000):
        now += throttle.wait("owner|192.0.2.1", now)
        throttle.failed("owner|192.0.2.1", now)

    assert now - NOW > timedelta(days=100)
    assert throttle.wait("owner|192.0.2.2", now) == timedelta(0)


def test_the_throttle_does_not_grow_without_bound() -> None:
    throttle = Throttle()

    for number in range(12_000):
        throttle.failed(f"name{number}|192.0.2.1", NOW)

    assert len(throttle._failures) == 10_000


# ---- sessions


def test_a_session_ends_after_thirty_idle_minutes(shop: Shop) -> None:
    browser = shop.browser("owner")
    shop.clock.pass_(minutes=29)
    still_in = browser.get("/me").response.request.path
    shop.clock.pass_(minutes=30)

    assert (still_in, browser.get("/me").response.request.path) == ("/me", "/sign-in")


def test_a_session_ends_after_twelve_hours_whatever_happens(shop: Shop) -> None:
    browser = shop.browser("owner")
    for _ in range(35):
        shop.clock.pass_(minutes=20)
        browser.get("/me")
    inside = browser.get("/me").response.request.path  # 700 minutes
    shop.clock.pass_(minutes=20)

    assert (inside, browser.get("/me").response.request.path) == ("/me", "/sign-in")  # 720 minutes


def test_signing_in_makes_a_new_session_and_ends_the_old_one(shop: Shop) -> None:
    browser = shop.browser("owner")
    old = session_of(browser)

    browser.sign_in("owner")

    thief = shop.browser()
    thief.client.set_cookie("session", old)
    assert session_of(browser) != old
    assert thief.get("/me").response.request.path == "/sign-in"


def test_signing_out_ends_the_session_on_the_server(shop: Shop) -> None:
    browser = shop.browser("owner")
    kept = session_of(browser)
    browser.submit("/sign-out")

    browser.client.set_cookie("session", kept)

    assert browser.get("/me").response.request.path == "/sign-in"
    with shop.store.reading() as work, pytest.raises(Exception, match="no such session"):
        work.web_sessions.get(hash_secret(kept))


def test_an_inactive_person_is_out_at_once(shop: Shop) -> None:
    owner, desk = shop.browser("owner"), shop.browser("desk")
    owner.get("/people")

    owner.submit(f"/people/{shop.people['desk']}", role="desk", active=None)

    assert desk.get("/desk").response.request.path == "/sign-in"
    assert desk.sign_in("desk").status == 422


def test_another_role_ends_the_sessions_and_counts_from_the_next_sign_in(shop: Shop) -> None:
    owner, desk = shop.browser("owner"), shop.browser("desk")
    owner.get("/people")

    owner.submit(f"/people/{shop.people['desk']}", role="technician", active="yes")
    signed_out = desk.get("/desk").response.request.path
    desk.sign_in("desk")

    assert (signed_out, desk.get("/export.csv").status) == ("/sign-in", 403)


def test_the_last_owner_stays_owner(shop: Shop) -> None:
    owner = shop.browser("owner")
    owner.get("/people")

    page = owner.submit(f"/people/{shop.people['owner']}", role="desk", active="yes")

    assert page.status == 409
    assert owner.get("/people").status == 200


def test_a_new_password_ends_the_other_sessions_only(shop: Shop) -> None:
    here, elsewhere = shop.browser("owner"), shop.browser("owner")
    here.get("/me")

    here.submit("/me", current=PASSWORD, password="another ladder in the attic")

    assert here.get("/me").response.request.path == "/me"
    assert elsewhere.get("/me").response.request.path == "/sign-in"
    assert elsewhere.sign_in("owner", PASSWORD).status == 422


def test_a_password_is_only_changed_with_the_old_one(shop: Shop) -> None:
    here = shop.browser("owner")
    here.get("/me")

    wrong = here.submit("/me", current="not the password", password="another ladder in the attic")
    weak = here.submit("/me", current=PASSWORD, password="short")

    assert (wrong.status, weak.status) == (422, 422)
    assert shop.browser().sign_in("owner").response.request.path == "/desk"


def test_an_invitation_makes_a_person_of_that_role_and_is_shown_once(shop: Shop) -> None:
    owner = shop.browser("owner")
    owner.get("/people")
    page = owner.submit("/people", name="Tess Example", login="tess@example.com", role="technician")
    link = re.search(r"http://localhost(/join/[\w-]+)", page.html).group(1)  # type: ignore[union-attr]

    tess = shop.browser()
    tess.get(link)
    tess.submit("", password="a drawer full of springs")

    assert tess.get("/me").text.count("technician") == 1
    assert link not in owner.get("/people").html
    assert shop.browser().get(link).status == 404


def test_a_second_invitation_resets_a_forgotten_password(shop: Shop) -> None:
    desk = shop.browser("desk")
    link = accounts.invitation_link(shop.services, "desk", "Desk Example", "desk")

    accounts.join(shop.services, link.rsplit("/", 1)[1], "ignored", "ignored", "chairs on the ceiling")

    assert desk.get("/desk").response.request.path == "/sign-in"
    assert shop.browser().sign_in("desk", PASSWORD).status == 422
    assert shop.browser().sign_in("desk", "chairs on the ceiling").response.request.path == "/desk"


@pytest.mark.parametrize(
    ("wanted", "path"),
    [
        ("/desk?q=a", "/desk?q=a"),
        ("//evil.example", ""),
        ("/\\evil.example", ""),
        ("https://evil.example", ""),
        ("/a\\b", ""),
        ("/a\nb", ""),
        ("javascript:alert(1)", ""),
        ("", ""),
    ],
)
def test_going_on_after_sign_in_stays_on_this_site(wanted: str, path: str) -> None:
    assert local_path(wanted) == path
