"""The page about sending: who is sent to, what does not get through, and what to do about it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, redirect, render_template, url_for

from intakebot import receivers
from intakebot.errors import NotFoundError
from intakebot.records import UnitOfWork
from intakebot.records.endpoints import Endpoint, Gateway
from intakebot.records.outbox import Item
from intakebot.web import receivers_view, security
from intakebot.web.access import OFFICE, access

pages = Blueprint("receivers", __name__)

MOST_SHOWN = 50
BY_HAND = "switched off at the desk"


@pages.get("/receivers")
@access(OFFICE)
def overview() -> Any:
    """Every receiver with its state, and every delivery that was given up."""
    services = security.services()
    with services.store.reading() as work:
        endpoints, gateways = work.endpoints.all(), work.gateways.all()
        targets = [f"endpoint:{each.id}" for each in endpoints] + [f"gateway:{each.id}" for each in gateways]
        tests = {target: test for target in (*targets, "email") if (test := work.outbox.last_test(target))}
        shown = receivers_view.lines(
            endpoints, gateways, work.outbox.tallies(), tests, with_mail=services.sends_mail
        )
        dead, aside = work.outbox.dead(MOST_SHOWN), work.outbox.dead(MOST_SHOWN, "set_aside")
        references = _references(work, (*dead, *aside))
    return render_template(
        "receivers.html",
        lines=shown,
        dead=receivers_view.given_up(dead, shown, references),
        aside=receivers_view.given_up(aside, shown, references),
    )


def _references(work: UnitOfWork, items: tuple[Item, ...]) -> dict[str, str]:
    return {case: work.cases.get(case).reference for case in {i.conversation_id for i in items} if case}


def needs_attention(work: UnitOfWork) -> bool:
    """Whether the desk's first page should say that something does not get through."""
    known: tuple[Endpoint | Gateway, ...] = (*work.endpoints.all(), *work.gateways.all())
    switched_off = any(each.state == "disabled" and each.reason != BY_HAND for each in known)
    return switched_off or work.outbox.has_dead()


@pages.post(
    "/receivers/<target>/<any('resend','set-aside','take-up','test','switch-on','switch-off'):action>"
)
@access(OFFICE)
def act(target: str, action: str) -> Any:
    """One of the buttons beside a receiver."""
    actions: dict[str, Callable[[], Any]] = {
        "resend": lambda: receivers.replay_all(_turns(), target),
        "set-aside": lambda: _move(lambda work: work.outbox.set_aside(_turns().now(), target=target)),
        "take-up": lambda: _move(lambda work: work.outbox.take_up(_turns().now(), target=target)),
        "test": lambda: receivers.queue_test(_turns(), target),
        "switch-on": lambda: receivers.switch_on(_turns(), target),
        "switch-off": lambda: receivers.switch_off(_turns(), target, BY_HAND),
    }
    actions[action]()
    return _back(action, target.replace(":", "-"))


@pages.post("/receivers/deliveries/<item>/<any('resend','set-aside','take-up'):action>")
@access(OFFICE)
def act_on_delivery(item: str, action: str) -> Any:
    """One of the buttons beside a delivery that was given up."""
    if action == "resend":
        receivers.replay(_turns(), item)
    elif action == "set-aside":
        _move(lambda work: work.outbox.set_aside(_turns().now(), item_id=item))
    else:
        _move(lambda work: work.outbox.take_up(_turns().now(), item_id=item))
    return _back(action, "given-up")


def _turns() -> Any:
    return security.services().turns


def _move(change: Callable[[UnitOfWork], int]) -> None:
    with security.services().store.unit_of_work() as work:
        if change(work) == 0:
            raise NotFoundError("there is nothing to move")
        work.commit()


def _back(action: str, anchor: str) -> Any:
    done = "receiver_" + action.replace("-", "_")
    return redirect(url_for("receivers.overview", done=done, _anchor=anchor))
