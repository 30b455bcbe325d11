"""A whole shop for tests: database, definitions, workshop, pages; a clock set by hand; a browser that knows forms."""

from __future__ import annotations

import re
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, ClassVar

from flask import Flask
from werkzeug.test import TestResponse

from intakebot.assess import Assessments
from intakebot.definitions import Definitions
from intakebot.editions import Editions
from intakebot.records import Store, migrate, open_store
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services as TurnServices
from intakebot.web.accounts import join
from intakebot.web.api import ApiServices, api_blueprint
from intakebot.web.app import create_app
from intakebot.web.services import Services
from intakebot.web.signin import first_owner_link
from intakebot.workshop import Workshop

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
PASSWORD = "blue chalk under the ladder"
STORY = (
    "Since we moved house my slot-loading console grinds and takes no discs. There is a game disc stuck inside. "
    "Nobody has opened it."
)


class Clock:
    """The time, moved on by hand."""

    def __init__(self, now: datetime = NOW) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def pass_(self, **duration: float) -> None:
        self.now += timedelta(**duration)


class Assessors:
    """One assessor for each version of the definitions, shared by all tests of the session."""

    made: ClassVar[dict[str, Assessments]] = {}

    @classmethod
    def of(cls, definitions: Definitions) -> Assessments:
        return cls.made.setdefault(definitions.version, Assessments(definitions))


@dataclass
class Shop:
    """Everything a test needs."""

    app: Flask
    services: Services
    store: Store
    clock: Clock
    people: dict[str, str] = field(default_factory=dict)

    def close(self) -> None:
        self.store.close()

    def browser(self, role: str | None = None) -> Browser:
        """A fresh browser; with a role, one that is signed in."""
        browser = Browser(self)
        if role is not None:
            self.hire(role)
            browser.sign_in(role)
        return browser

    def hire(self, role: str) -> None:
        """Make somebody of a role, with the login of the same name; the owner first, by the printed link."""
        if role in self.people:
            return
        if role != "owner":
            self.hire("owner")
            from intakebot.web.accounts import invitation_link

            link = invitation_link(self.services, role, f"{role.title()} Example", role)
        else:
            link = first_owner_link(self.services) or ""
        code = link.rsplit("/", 1)[1]
        self.people[role] = join(self.services, code, role, f"{role.title()} Example", PASSWORD).id


@cache
def _empty_database() -> bytes:
    """A migrated database without rows, made once."""
    with tempfile.TemporaryDirectory() as folder:
        migrate(f"sqlite:///{folder}/empty.db")
        with closing(sqlite3.connect(f"{folder}/empty.db")) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return (Path(folder) / "empty.db").read_bytes()


def open_shop(folder: Path, definitions: Definitions, base_url: str = "http://localhost") -> Shop:
    """A shop in a folder, with the given definitions."""
    url = f"sqlite:///{folder / 'shop.db'}"
    (folder / "shop.db").write_bytes(_empty_database())
    store = open_store(url, folder)
    clock = Clock()
    turns = TurnServices(
        store=store,
        editions=Editions(store, definitions, Assessors.of),
        workshop=Workshop(Assessors.of, clock),
        secret_key=b"a secret key of thirty-two bytes",
        now=clock,
    )
    photos = PhotoStore(f"file://{folder / 'photos'}", store, turns.ids, clock)
    api = api_blueprint(ApiServices(turns=turns, photos=photos, base_url=base_url))
    services = Services(turns=turns, photos=photos, base_url=base_url, blueprints=(api,))
    app = create_app(services)
    app.testing = True
    return Shop(app, services, store, clock)


class Page(HTMLParser):
    """The forms, links and words of an answer."""

    def __init__(self, response: TestResponse) -> None:
        super().__init__(convert_charrefs=True)
        self.response, self.status = response, response.status_code
        self.html = response.get_data(as_text=True)
        self.forms: list[dict[str, Any]] = []
        self.links: list[str] = []
        self.ids: set[str] = set()
        self._text: list[str] = []
        self._select: str | None = None
        self._area: str | None = None
        if response.mimetype == "text/html":
            self.feed(self.html)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self._text))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if given.get("id"):
            self.ids.add(str(given["id"]))
        if tag == "form":
            self.forms.append(
                {
                    "action": given.get("action"),
                    "method": given.get("method", "get"),
                    "data": {},
                    "buttons": [],
                }
            )
        elif tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))
        elif self.forms:
            self._control(tag, given)

    def _control(self, tag: str, given: dict[str, str | None]) -> None:
        data, name = self.forms[-1]["data"], given.get("name")
        if tag == "button" and name:
            self.forms[-1]["buttons"].append((name, given.get("value", "")))
        elif tag == "input" and name:
            kind = given.get("type", "text")
            if kind not in ("radio", "checkbox", "file") or "checked" in given:
                data.setdefault(name, []).append(given.get("value") or ("on" if kind == "checkbox" else ""))
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and ("selected" in given or self._select not in data):
            data[self._select] = [given.get("value", "")]
        elif tag == "textarea" and name:
            self._area = name
            data[name] = [""]

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self.forms[-1]["data"][self._area][0] += data
        else:
            self._text.append(data)

    def form(self, action: str) -> dict[str, Any]:
        """The first form whose address ends so."""
        for form in self.forms:
            if str(form["action"]).split("?")[0].endswith(action):
                return form
        raise AssertionError(f"no form for {action} among {[form['action'] for form in self.forms]}")


class Browser:
    """A browser without JavaScript."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.client = shop, shop.app.test_client()
        self.page: Page | None = None

    def get(self, path: str) -> Page:
        self.page = Page(self.client.get(path, follow_redirects=True))
        return self.page

    def submit(self, action: str, follow: bool = True, **values: Any) -> Page:
        """Fill in the form with that address on the page that is open, and send it."""
        assert self.page is not None
        form = self.page.form(action)
        data = dict(form["data"])
        for name, value in values.items():
            name = name.replace("__", ".")
            if value is None:
                data.pop(name, None)
            else:
                data[name] = value if isinstance(value, list) else [value]
        path = form["action"] or self.page.response.request.path
        self.page = Page(self.client.post(path, data=data, follow_redirects=follow))
        return self.page

    def press(self, action: str, name: str, value: str) -> Page:
        """Press a button that carries a value."""
        assert self.page is not None
        assert (name, value) in self.page.form(action)["buttons"], self.page.form(action)["buttons"]
        return self.submit(action, **{name: value})

    def sign_in(self, login: str, password: str = PASSWORD) -> Page:
        self.get("/sign-in")
        return self.submit("/sign-in", login=login, password=password)

    def talk(self, text: str = STORY) -> str:
        """Begin a talk; returns its id."""
        self.get("/")
        self.submit("/talk", text=text)
        assert self.page is not None
        return re.search(r"/talk/([^/?#]+)", self.page.response.request.path).group(1)  # type: ignore[union-attr]
