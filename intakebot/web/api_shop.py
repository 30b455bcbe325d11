"""The shop's half of the API, for its own systems: intakes, quotes, arrival, bench, outcome; export, import, erasure."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any

from intakebot.conversation import Conversation
from intakebot.definitions import Definitions, intake_form
from intakebot.errors import BadInputError, IntakebotError, NotFoundError
from intakebot.records import Case
from intakebot.records.case import CaseLine
from intakebot.records.exchange import export_case, import_case
from intakebot.turns import CaseChange, change_case, erase_case
from intakebot.web.api_call import Call
from intakebot.web.api_operations import Answer
from intakebot.web.api_talk import etag, head_mapping, message_mapping, photo_mapping, turn_answer

Change = Callable[[Definitions, Case, datetime], CaseChange]


def list_intakes(call: Call) -> Answer:
    """Last changed first; follow `next` (or the Link header) for the rest."""
    args = call.http.args
    limit = call.query_int("limit", 50, 1, 100)
    with call.services.turns.store.reading() as work:
        page = work.cases.page(
            waits_for=args.get("waits_for"),
            phase=args.get("phase"),
            floor=args.get("floor"),
            search=args.get("search", "")[:200],
            after=args.get("after"),
            limit=limit,
        )
    headers = {}
    if page.after is not None:
        kept = {name: args[name] for name in ("waits_for", "phase", "floor", "search") if name in args}
        from urllib.parse import urlencode

        query = urlencode(kept | {"limit": str(limit), "after": page.after})
        headers["Link"] = f'<{call.services.base_url}/api/v1/intakes?{query}>; rel="next"'
    return Answer(200, {"intakes": [line_mapping(line) for line in page.lines], "next": page.after}, headers)


def line_mapping(line: CaseLine) -> dict[str, Any]:
    index = line.index
    return {
        "conversation_id": line.id,
        "reference": line.reference,
        "version": line.version,
        "phase": index.phase,
        "floor": index.floor,
        "waits_for": index.waits_for,
        "customer_name": index.customer_name,
        "device": index.device,
        "has_hazard": index.has_hazard,
        "opened_at": line.opened_at.isoformat(),
        "updated_at": line.updated_at.isoformat(),
    }


def get_intake(call: Call) -> Answer:
    """The structured form, the talk, quotes and consent log of one intake."""
    with call.services.turns.store.reading() as work:
        case = work.cases.get(call.path["id"])
        if call.http.headers.get("If-None-Match", "").strip() == etag(case.version):
            return Answer(304, "", {"ETag": etag(case.version)})
        messages = work.messages.last(case.id, 200)
        quotes, log = work.quotes.all(case.id), work.authorisations.all(case.id)
        photos = work.photos.all(case.id)
    definitions = call.services.turns.editions.of(case.definitions_version)
    talk = Conversation.from_mapping(case.conversation)
    body = head_mapping(case, talk) | {
        "form": intake_form(definitions.families[case.family], talk.answers),
        "messages": [message_mapping(message) for message in messages],
        "quotes": [
            {
                "number": quote.number,
                "state": quote.state,
                "issued_at": quote.issued_at.isoformat(),
                "maximum": quote.maximum,
                "currency": quote.currency,
            }
            for quote in quotes
        ],
        "authorisations": [
            {
                "quote_number": entry.quote_number,
                "decision": entry.decision,
                "limit": entry.limit,
                "currency": entry.currency,
                "by": entry.by,
                "channel": entry.channel,
                "at": entry.at.isoformat(),
            }
            for entry in log
        ],
        "photos": [photo_mapping(photo) for photo in photos],
    }
    return Answer(200, body, {"ETag": etag(case.version)})


def get_pretriage(call: Call) -> Answer:
    """What the technician sees before the box arrives."""
    turns = call.services.turns
    with turns.store.reading() as work:
        case = work.cases.get(call.path["id"])
    view = turns.workshop.pretriage_view(turns.editions.of(case.definitions_version), case)
    return Answer(200, view, {"ETag": etag(case.version)})


def _change(call: Call, change: Change) -> Answer:
    answer = change_case(
        call.services.turns,
        call.path["id"],
        change,
        actor=call.actor,
        if_version=call.if_version,
        request=call.request,
        traceparent=call.traceparent,
    )
    return turn_answer(answer)


def revise_quote(call: Call) -> Answer:
    """A revised quote from the facts as they are now; it supersedes the one before and the customer is asked again."""
    workshop, reason = call.services.turns.workshop, call.body["reason"]
    return _change(call, lambda d, c, now: workshop.revise_quote(d, c, now, reason=reason, by=call.actor))


def record_arrival(call: Call) -> Answer:
    workshop, body = call.services.turns.workshop, call.body
    found = {
        "found": body["found"],
        "screws": body.get("screws"),
        "seals": body.get("seals"),
        "earlier_repair": tuple(body.get("earlier_repair", ())),
        "weight_kg": _decimal(body.get("weight_kg")),
        "disc": body.get("disc"),
        "board_matches": body.get("board_matches"),
        "notes": body.get("notes", ""),
    }
    return _change(call, lambda d, c, now: workshop.record_arrival(d, c, now, by=call.actor, **found))


def record_step(call: Call) -> Answer:
    """How a bench step went; the rest of the plan is computed anew."""
    workshop, body = call.services.turns.workshop, call.body
    seen, minutes = body.get("seen", {}), _decimal(body.get("minutes"))
    return _change(
        call,
        lambda d, c, now: workshop.record_result(
            d, c, now, step=body["step"], result=body["result"], seen=seen, minutes=minutes, by=call.actor
        ),
    )


def record_outcome(call: Call) -> Answer:
    workshop, body = call.services.turns.workshop, call.body
    return _change(
        call,
        lambda d, c, now: workshop.record_outcome(
            d,
            c,
            now,
            ending=body["ending"],
            causes=tuple(body["causes"]),
            total=_decimal(body.get("total")),
            by=call.actor,
            note=body.get("note", ""),
        ),
    )


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def export_intake(call: Call) -> Answer:
    """The whole intake as one JSON file, pictures included."""
    with call.services.turns.store.reading() as work:
        body = export_case(work, call.path["id"], call.services.photos)
    return Answer(200, body, {"Content-Disposition": 'attachment; filename="intake.json"'})


def import_intake(call: Call) -> Answer:
    """Take an exported intake in. Its id and reference must be free."""
    turns = call.services.turns

    def check(case: Case) -> None:
        try:
            definitions = turns.editions.of(case.definitions_version)
        except NotFoundError:
            raise BadInputError(
                "case.definitions_version",
                case.definitions_version,
                "a version of the definitions known here",
            ) from None
        try:
            talk = Conversation.from_mapping(case.conversation)
            turns.workshop.index(definitions, case, talk)
        except (KeyError, TypeError, ValueError, AttributeError, IntakebotError) as error:
            raise BadInputError("case.conversation", type(error).__name__, "a talk as exported") from error

    case = import_case(turns.store, call.body, call.services.photos, turns.ids, check)
    body = {"conversation_id": case.id, "reference": case.reference, "version": case.version}
    return Answer(201, body, {"ETag": etag(case.version)})


def erase_intake(call: Call) -> Answer:
    erase_case(call.services.turns, call.path["id"])
    return Answer(204, "")
