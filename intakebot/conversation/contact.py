"""Name, reach and address: asked last, in one message or on the form, read back once.

A free message is split at line breaks, commas and semicolons: e-mail and phone are found by understanding, a part with a
digit or after the first address line belongs to the address, the first part without digits is the name. Because that can
be wrong, and an address matters, it is always read back as yes or no.
"""

from __future__ import annotations

import re

from intakebot.conversation.asking import acknowledgement, put_question
from intakebot.conversation.entering import enter
from intakebot.conversation.labels import fact_label, things
from intakebot.conversation.state import Pending
from intakebot.conversation.turn import Reply
from intakebot.conversation.work import Work
from intakebot.definitions.facts import Value
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError

_SPLIT = re.compile(r"[\n;,]+")
_EMAIL = re.compile(r"[^\s@,;]{1,64}@[^\s@,;]{1,255}")
_PHONE = re.compile(r"\+?[0-9][0-9 ()/.-]{6,20}[0-9]")
_LEAD_IN = re.compile(r"^(my name is|name is|name|i am|i'm|its|it's|this is|ich bin|ich heisse|ich heiße|mein name ist|e-?mail|phone|tel|telefon|address|adresse|anschrift)\b[:\s]*", re.I)  # fmt: skip
REQUIRED_ROLES = ("name", "address")


def role_fact(work: Work, role: str) -> str | None:
    return next((fact.id for fact in work.family.facts.values() if fact.role == role), None)


def missing(work: Work) -> tuple[str, ...]:
    """Fact ids still needed: a name, an address, and an e-mail address or a phone number."""
    needed = [role_fact(work, role) for role in REQUIRED_ROLES]
    lacking = [fact for fact in needed if fact is not None and not _held(work, fact)]
    reach = [fact for fact in (role_fact(work, "email"), role_fact(work, "phone")) if fact is not None]
    if reach and not any(_held(work, fact) for fact in reach):
        lacking.append(reach[0])
    return tuple(lacking)


def _held(work: Work, fact: str) -> bool:
    return fact in work.facts and work.facts[fact].is_known


def ask_contact(work: Work) -> None:
    """Ask for everything that is missing in one message, with the form's link when there is one."""
    lacking = missing(work)
    nothing_yet = not any(_held(work, fact.id) for fact in work.family.facts.values() if fact.personal)
    if nothing_yet:
        text = work.say("contact_ask")
    else:
        labels = ", ".join(fact_label(work.texts, work.fact(fact)) for fact in lacking)
        text = work.say("contact_missing", things=labels)
    if work.links.get("form"):
        text = f"{text} {work.say('contact_form', form=work.links['form'])}"
    put_question(work, text, [], Pending("contact"), "contact")
    work.note("asked", contact=list(lacking))


def read_contact(work: Work, text: str) -> bool:
    """Enter what a contact message holds (as heard, to be read back). False when it holds nothing."""
    found: dict[str, str] = {}
    email, phone = _EMAIL.search(text), None
    rest = text.replace(email.group(), ",") if email else text
    phone = _PHONE.search(rest)
    if phone:
        rest = rest.replace(phone.group(), ",")
    if email:
        found["email"] = email.group().rstrip(".")
    if phone:
        found["phone"] = phone.group().strip()
    parts = [_LEAD_IN.sub("", part.strip()).strip(" .") for part in _SPLIT.split(rest)]
    parts = [part for part in parts if len(part) > 1]
    lacking = {fact.role for fact in work.family.facts.values() if fact.id in missing(work)}
    if "name" in lacking and parts and not any(character.isdigit() for character in parts[0]):
        found["name"] = parts.pop(0)
    if parts and ("address" in lacking or any(any(c.isdigit() for c in part) for part in parts)):
        found["address"] = ", ".join(parts)
    entered = [_enter_role(work, role, value) for role, value in found.items()]
    return any(entered)


def _enter_role(work: Work, role: str, raw: str) -> bool:
    fact_id = role_fact(work, role)
    if fact_id is None:
        return False
    try:
        value: Value = parse_value(work.fact(fact_id), raw)
    except BadInputError:
        return False
    enter(work, fact_id, value, status="heard", source="text", quote=raw)
    return True


def check_contact(work: Work) -> None:
    """Read the contact facts back as one yes/no question."""
    pairs = [
        (fact.id, work.facts[fact.id].value)
        for fact in work.family.facts.values()
        if fact.personal and _held(work, fact.id)
    ]
    text = work.say("contact_check", things=things(work.texts, work.family, pairs, most=6))
    choices = [("confirm_contact:yes", work.say("choice.yes")), ("confirm_contact:no", work.say("choice.no"))]
    put_question(work, text, choices, Pending("confirm_contact", offered=tuple(choices)), "confirm")


def contact_confirmed(work: Work) -> None:
    for fact in work.family.facts.values():
        if fact.personal and _held(work, fact.id) and work.facts[fact.id].status == "heard":
            entry = work.facts[fact.id]
            enter(work, fact.id, entry.value, status="confirmed", source="tap", quote=entry.quote)


def forget_contact(work: Work) -> None:
    """The reading was wrong: take the unconfirmed contact facts back."""
    for fact in work.family.facts.values():
        if fact.personal and fact.id in work.facts and work.facts[fact.id].status == "heard":
            work.remove(fact.id)
            work.note("fact_withdrawn", fact=fact.id)


def after_acceptance(work: Work) -> None:
    """What comes once the estimate is accepted: contact, then the packing sheet."""
    heard = any(
        fact.personal and fact.id in work.facts and work.facts[fact.id].status == "heard"
        for fact in work.family.facts.values()
    )
    if missing(work):
        ask_contact(work)
    elif heard:
        check_contact(work)
    else:
        lead = acknowledgement(work)
        text = work.say("packing")
        if work.links.get("packing"):
            text = f"{text} {work.say('packing_link', packing=work.links['packing'])}"
        work.reply(Reply(f"{lead} {text}".strip(), kind="notice"))
        work.change(pending=None)
