"""What every answer carries and never carries: headers, cookies, inline code, other people's text as code.

Rules: OWASP ASVS 5.0, 3.3 (cookies), 3.4 (headers), 1.2 (output encoding), 5 (files).
"""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from intakebot.definitions import Definitions
from tests.web.shop import PASSWORD, Browser, Shop, open_shop
from tests.web.test_web_access import EVERYBODY, ROWS, fill, routes

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'-alert(1)-'",
    "</textarea><svg onload=alert(1)>",
    "{{7*7}} {0.__class__} %n ${7*7}",
    "javascript:alert(1)",
    "<a href='javascript:alert(1)'>x</a>",
    "\u202eevil\u2066 right to left",
    "<!--",
    "]]>",
]


class Inline(HTMLParser):
    """Finds what a content security policy without inline code forbids, and addresses outside this site."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("script", "style") and "src" not in given:
            self.found.append(f"inline {tag}")
        for name, value in attrs:
            if name == "style" or name.startswith("on"):
                self.found.append(f"{name} on {tag}")
            if (
                name in ("href", "src", "action", "poster", "data")
                and value
                and re.match(r"\s*(javascript|data|https?|//)", value)
            ):
                self.found.append(f"{tag} {name}={value}")


def every_page(shop: Shop) -> list[tuple[str, Browser, str]]:
    """(endpoint, browser that may, address) for every GET route, for a case with hostile words in it."""
    customer, owner = shop.browser(), shop.browser("owner")
    talk = customer.talk(" ".join(HOSTILE) + " my cd player skips")
    customer.get(f"/talk/{talk}/form")
    customer.submit("/form", fact__name=HOSTILE[0], fact__address=HOSTILE[1], fact__model_name=HOSTILE[3])
    owner.get(f"/desk/{talk}")
    owner.submit("/reply", text=HOSTILE[1])
    return [
        (endpoint, owner if "owner" in ROWS[endpoint] else customer, fill(shop, rule, talk))
        for endpoint, method, rule in routes(shop)
        if method == "GET"
    ]


def test_every_answer_has_the_headers_and_no_inline_code(shop: Shop) -> None:
    wrong = []
    for endpoint, browser, path in every_page(shop):
        answer = browser.client.get(path, buffered=True)
        policy = dict(
            part.strip().partition(" ")[::2] for part in answer.headers["Content-Security-Policy"].split(";")
        )
        if "unsafe" in answer.headers["Content-Security-Policy"] or policy.get("default-src") != "'none'":
            wrong.append((endpoint, "policy"))
        if "sandbox" not in policy:
            wanted = {
                "script-src": "'self'",
                "style-src": "'self'",
                "form-action": "'self'",
                "frame-ancestors": "'none'",
                "base-uri": "'none'",
            }
            wrong += [(endpoint, name) for name, value in wanted.items() if policy.get(name) != value]
        if (
            answer.headers["X-Content-Type-Options"] != "nosniff"
            or answer.headers["Referrer-Policy"] != "same-origin"
        ):
            wrong.append((endpoint, "headers"))
        if endpoint != "static" and answer.headers["Cache-Control"] != "no-store":
            wrong.append((endpoint, "cache"))
        if answer.mimetype == "text/html":
            reader = Inline()
            reader.feed(answer.get_data(as_text=True))
            wrong += [(endpoint, found) for found in reader.found]
        if answer.status_code >= 500:
            wrong.append((endpoint, answer.status_code))

    assert wrong == []


def test_hostile_words_are_shown_as_words(shop: Shop) -> None:
    """Stored words come back escaped on every page: the page's elements are those of a harmless case."""
    wrong = []
    for endpoint, browser, path in every_page(shop):
        answer = browser.client.get(path, buffered=True)
        if answer.mimetype != "text/html":
            continue
        html = answer.get_data(as_text=True)
        wrong += [(endpoint, words) for words in HOSTILE[:4] if words in html]
        if re.search(r">\s*49\s*<", html):
            wrong.append((endpoint, "evaluated"))

    assert wrong == []


def test_no_answer_tells_what_runs_behind_it(shop: Shop) -> None:
    browser = shop.browser()

    pages = [browser.get(path) for path in ("/nothing", "/talk/none", "/desk", "/join/none")]
    pages.append(browser.submit("/sign-in", login="a", password="b") if False else browser.get("/sign-in"))

    assert [
        word
        for page in pages
        for word in ("Traceback", "/work", "sqlalchemy", "werkzeug", "jinja")
        if word in page.html
    ] == []


def test_cookies_over_http_are_for_this_host_and_not_for_scripts(shop: Shop) -> None:
    browser = shop.browser("owner")
    browser.talk()
    cookies = {cookie.key: cookie for cookie in browser.client._cookies.values()}

    assert set(cookies) == {"visitor", "session", "talks"}
    assert {
        (cookie.http_only, cookie.same_site, cookie.path, cookie.origin_only) for cookie in cookies.values()
    } == {(True, "Lax", "/", True)}


def test_cookies_over_https_carry_the_host_prefix(tmp_path: Path, definitions: Definitions) -> None:
    """RFC 6265bis: `__Host-` needs Secure, Path=/ and no Domain."""
    shop = open_shop(tmp_path, definitions, base_url="https://shop.example")
    client = shop.app.test_client()

    answer = client.get("/", base_url="https://shop.example")
    cookie = answer.headers["Set-Cookie"]
    shop.close()

    assert cookie.startswith("__Host-visitor=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=63072000")


def test_too_large_requests_are_refused_politely(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk()
    browser.get(f"/talk/{talk}")

    answer = browser.client.post(
        f"/talk/{talk}/photos", data=b"x" * 11_000_000, content_type="multipart/form-data; boundary=b"
    )

    assert answer.status_code == 413
    assert "too large" in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "text", ["", "   ", "\x00\x01\x02", "\U0001f600" * 50, "\u202e\u200b\u200d", "9" * 5000, "x" * 100_000]
)
def test_odd_messages_never_break_the_talk(shop: Shop, text: str) -> None:
    browser = shop.browser()
    talk = browser.talk()
    browser.get(f"/talk/{talk}")

    page = browser.submit("/messages", text=text)

    assert page.status in (200, 422)
    assert browser.get(f"/talk/{talk}").status == 200


def png() -> bytes:
    """A small picture with a place in its metadata."""
    picture = Image.new("RGB", (40, 30), "white")
    exif = Image.Exif()
    exif[0x010E] = "taken at 1 Secret Road"
    content = io.BytesIO()
    picture.save(content, "JPEG", exif=exif)
    return content.getvalue()


def test_a_photo_is_made_anew_and_runs_nothing(shop: Shop) -> None:
    browser, other, desk = shop.browser(), shop.browser(), shop.browser("desk")
    talk = browser.talk()
    browser.get(f"/talk/{talk}")

    page = browser.submit("/photos", photo=(io.BytesIO(png()), "../../x.html"), label="the label")
    address = re.search(rf'/talk/{talk}/photos/[\w-]+"', page.html).group(0).rstrip('"')  # type: ignore[union-attr]
    mine = browser.client.get(address)
    photo = address.rsplit("/", 1)[1]

    assert (mine.status_code, mine.mimetype) == (200, "image/jpeg")
    assert "sandbox" in mine.headers["Content-Security-Policy"]
    assert b"Secret Road" not in mine.data
    assert other.client.get(address).status_code == 404
    assert desk.client.get(f"/desk/{talk}/photos/{photo}").status_code == 200
    assert desk.client.get(f"/desk/none/photos/{photo}").status_code == 404


@pytest.mark.parametrize(
    "content",
    [b"", b"<html><script>", b"GIF89a<script>", b"%PDF-1.7", b"<svg xmlns='http://www.w3.org/2000/svg'/>"],
)
def test_what_is_no_photo_is_refused(shop: Shop, content: bytes) -> None:
    browser = shop.browser()
    talk = browser.talk()
    browser.get(f"/talk/{talk}")

    page = browser.submit("/photos", photo=(io.BytesIO(content), "x.jpg"))

    assert page.status == 422
    assert "could not be read as a photo" in page.text


def test_every_public_post_has_a_form_somewhere_public() -> None:
    """The open doors are few and named."""
    assert {endpoint for endpoint, who in ROWS.items() if who == EVERYBODY} == {
        "static", "customer.start", "customer.begin", "customer.language", "customer.resume_page", "customer.resume",
        "signin.page", "signin.enter", "signin.join_page", "signin.join",
    }  # fmt: skip


def test_the_password_is_never_sent_back(shop: Shop) -> None:
    shop.hire("owner")

    page = shop.browser().sign_in("owner", PASSWORD + "x")

    assert PASSWORD not in page.html


def test_opening_talks_without_end_is_slowed_down(shop: Shop) -> None:
    """30 in a minute from one address, as by the API; then a polite page that says when."""
    browser = shop.browser()
    browser.get("/")
    form = browser.page.form("/talk")  # type: ignore[union-attr]

    answers = [browser.client.post("/talk", data={**form["data"], "text": "skips"}) for _ in range(31)]

    assert [answer.status_code for answer in answers] == [302] * 30 + [429]
    assert answers[-1].headers["Retry-After"] == "2"  # one token every two seconds
    assert "wait a little" in answers[-1].get_data(as_text=True)


def test_writing_without_end_in_one_talk_is_slowed_down(shop: Shop) -> None:
    browser = shop.browser()
    talk = browser.talk()
    shop.services.limiter._buckets[f"messages|{talk}"] = (0.2, shop.clock())
    browser.get(f"/talk/{talk}")

    page = browser.submit("/messages", text="and another thing")

    assert (page.status, "Nothing is lost" in page.text) == (429, True)
