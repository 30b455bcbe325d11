"""People who may sign in: the first owner's one-time link, invitations, passwords.

There is no default password and no default person: whoever has the console at the first start gets one link, good for
a day and for one use. Later people are invited by the owner in the same way.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from intakebot.errors import BadInputError, ConflictError, NotAllowedError, NotFoundError
from intakebot.records.access import OneTimeCode, User
from intakebot.records.tokens import hash_secret, new_secret
from intakebot.web import passwords
from intakebot.web.access import ROLES
from intakebot.web.services import Services

LINK_LASTS = timedelta(hours=24)
PURPOSE = "join"
FIRST_OWNER = "first owner"


def first_owner_link(services: Services) -> str | None:
    """The one-time link to print at start; None when somebody can sign in already.

    A link printed before and not used stops working.
    """
    with services.store.reading() as work:
        if work.users.any():
            return None
    return f"{services.base_url}/join/{_new_code(services, FIRST_OWNER, {'role': 'owner'})}"


def invitation_link(services: Services, login: str, name: str, role: str) -> str:
    """A one-time link for somebody new, or for somebody who forgot their password.

    Raises: BadInputError for an unusable role, name or login.
    """
    login, name = clean_login(login), clean_name(name)
    if role not in ROLES:
        raise BadInputError("role", role, "one of " + ", ".join(ROLES))
    return (
        f"{services.base_url}/join/{_new_code(services, login, {'role': role, 'name': name, 'login': login})}"
    )


def _new_code(services: Services, subject: str, data: dict[str, Any]) -> str:
    code, now = new_secret(), services.now()
    with services.store.unit_of_work() as work:
        work.codes.withdraw(PURPOSE, subject)
        work.codes.add(
            OneTimeCode(
                code_hash=hash_secret(code),
                purpose=PURPOSE,
                subject=subject,
                data=data,
                created_at=now,
                expires_at=now + LINK_LASTS,
                used_at=None,
            )
        )
        work.commit()
    return code


def open_link(services: Services, code: str) -> OneTimeCode:
    """The link's content, without using it up. Raises: NotFoundError when it is unknown, used or too old."""
    with services.store.reading() as work:
        return work.codes.look(hash_secret(code), PURPOSE, services.now())


def join(services: Services, code: str, login: str, name: str, password: str) -> User:
    """Use a one-time link: make the person (or give the known one a new password) and return them.

    Raises: BadInputError (where = field) for what can be put right, with the link still good; NotFoundError for a
    link that is unknown, used or too old; NotAllowedError for a second first owner.
    """
    stored = passwords.hash_password(password)
    now = services.now()
    with services.store.unit_of_work() as work:
        link = work.codes.redeem(hash_secret(code), PURPOSE, now)
        is_first = link.subject == FIRST_OWNER
        if is_first and work.users.any():
            raise NotAllowedError("there is an owner already")
        login = clean_login(login if is_first else link.data["login"])
        name = clean_name(name if is_first else link.data["name"])
        shop = services.definitions.pricing.shop
        reason = passwords.weakness(password, (login, name, shop.name))
        if reason is not None:
            raise BadInputError("password", reason, "a longer or less common one")
        try:
            user = replace(work.users.by_login(login), password_hash=stored, active=True)
            work.users.save(user)
            work.web_sessions.delete_of(user.id)
        except NotFoundError:
            user = User(
                id=services.turns.ids.message_id("user"),
                login=login,
                name=name,
                role=link.data["role"],
                password_hash=stored,
                active=True,
                created_at=now,
                data={},
            )
            work.users.add(user)
        work.commit()
    return user


def check_password(services: Services, login: str, password: str) -> User | None:
    """The person, if name and password are right and they are active; as slow for unknown names as for known ones."""
    try:
        with services.store.reading() as work:
            user: User | None = work.users.by_login(login.strip().casefold())
    except NotFoundError:
        user = None
    stored = user.password_hash if user is not None and user.password_hash else None
    if not passwords.password_matches(stored, password) or user is None or not user.active:
        return None
    if passwords.needs_rehash(user.password_hash):
        user = set_password(services, user, password)
    return user


def set_password(services: Services, user: User, password: str) -> User:
    """Keep a new password."""
    changed = replace(user, password_hash=passwords.hash_password(password))
    with services.store.unit_of_work() as work:
        work.users.save(changed)
        work.commit()
    return changed


def change_person(services: Services, user_id: str, *, role: str, active: bool) -> None:
    """Give somebody another role, or make them inactive; their sessions end.

    Raises: ConflictError when no active owner would be left.
    """
    if role not in ROLES:
        raise BadInputError("role", role, "one of " + ", ".join(ROLES))
    with services.store.unit_of_work() as work:
        changed = replace(work.users.get(user_id), role=role, active=active)
        others = [user for user in work.users.all() if user.id != user_id]
        if not any(user.role == "owner" and user.active for user in [changed, *others]):
            raise ConflictError("the shop needs an owner")
        work.users.save(changed)
        work.web_sessions.delete_of(user_id)
        work.commit()


def clean_login(login: str) -> str:
    """A name to sign in with, as kept. Raises: BadInputError."""
    kept = login.strip().casefold()
    if not 3 <= len(kept) <= 120 or any(
        character.isspace() or not character.isprintable() for character in kept
    ):
        raise BadInputError("login", "unusable", "3 to 120 characters without spaces")
    return kept


def clean_name(name: str) -> str:
    """A person's name as shown. Raises: BadInputError."""
    kept = " ".join("".join(character for character in name if character.isprintable()).split())
    if not 1 <= len(kept) <= 120:
        raise BadInputError("name", "unusable", "1 to 120 characters")
    return kept
