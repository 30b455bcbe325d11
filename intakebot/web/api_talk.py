"""The customer's half of the API: one conversation, opened, talked, filled in, decided, erased."""

from __future__ import annotations

from typing import Any

from intakebot.conversation import ChoiceTaken, Conversation, FactsEntered, MessageReceived, PhotoAdded, recap
from intakebot.definitions import intake_form
from intakebot.errors import BadInputError
from intakebot.joining import MINUTES, issue_code, join_with_token
from intakebot.records import Case, Message
from intakebot.records.exchange import export_case
from intakebot.turn_draft import state_mapping
from intakebot.turns import TurnAnswer, Via, decide, erase_case, open_case, take_turn
from intakebot.web.api_call import Call
from intakebot.web.api_operations import Answer

TALK_PAGE = 100


def open_conversation(call: Call) -> Answer:
    body = call.body
    opened = open_case(
        call.services.turns,
        via=Via(body.get("channel", "api")),
        locale=body.get("locale") or call.services.turns.editions.current.locales[0],
        text=body.get("text"),
        family=body.get("family"),
        request=call.request,
        traceparent=call.traceparent,
    )
    mapping = opened.answer.mapping | {"token": opened.token}
    headers = {
        "Location": f"{call.services.base_url}/api/v1/conversations/{opened.conversation_id}",
        "ETag": etag(mapping["version"]),
    }
    return Answer(201, mapping, headers | _replayed(opened.answer))


def etag(version: int) -> str:
    return f'"v{version}"'


def _replayed(answer: TurnAnswer) -> dict[str, str]:
    return {"Idempotency-Replayed": "true"} if answer.replayed else {}


def turn_answer(answer: TurnAnswer) -> Answer:
    """A turn's answer as it was stored: the same bytes each time."""
    headers = _replayed(answer)
    version = answer.mapping.get("version")
    if version is not None:
        headers["ETag"] = etag(version)
    return Answer(answer.status, answer.body, headers)


def send_message(call: Call) -> Answer:
    name = call.request.key if call.request else call.services.turns.ids.message_id("api")
    event: MessageReceived | ChoiceTaken
    if "text" in call.body:
        event = MessageReceived(name, call.body["text"])
    else:
        event = ChoiceTaken(name, call.body["choice"])
    _count_message(call)
    return turn_answer(_turn(call, event))


def _count_message(call: Call) -> None:
    limits = call.services.limits
    now = call.services.turns.now()
    call.rate = call.services.limiter.take(call.path["id"], limits.messages, now)


def _turn(call: Call, event: Any) -> TurnAnswer:
    return take_turn(
        call.services.turns,
        call.path["id"],
        event,
        request=call.request,
        token_hash=call.token_hash,
        traceparent=call.traceparent,
    )


def patch_facts(call: Call) -> Answer:
    body = call.body
    event = FactsEntered(
        call.request.key if call.request else call.services.turns.ids.message_id("form"),
        facts=body.get("facts", {}),
        declined=tuple(body.get("declined", ())),
        cleared=tuple(body.get("cleared", ())),
    )
    return turn_answer(_turn(call, event))


def get_conversation(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        case = work.cases.get(call.path["id"], call.token_hash)
        if call.http.headers.get("If-None-Match", "").strip() == etag(case.version):
            return Answer(304, "", {"ETag": etag(case.version)})
        messages = work.messages.last(case.id, TALK_PAGE)
    return Answer(200, conversation_mapping(call, case, messages), {"ETag": etag(case.version)})


def conversation_mapping(call: Call, case: Case, messages: tuple[Message, ...]) -> dict[str, Any]:
    definitions = call.services.turns.editions.of(case.definitions_version)
    talk = Conversation.from_mapping(case.conversation)
    return head_mapping(case, talk) | {
        "form": intake_form(definitions.families[case.family], talk.answers),
        "recap": [
            {
                "fact": line.fact,
                "label": line.label,
                "value_label": line.value_label,
                "status": line.status,
                "source": line.source,
            }
            for line in recap(definitions, talk)
        ],
        "messages": [message_mapping(message) for message in messages],
    }


def head_mapping(case: Case, talk: Conversation) -> dict[str, Any]:
    return {
        "conversation_id": case.id,
        "reference": case.reference,
        "version": case.version,
        "locale": case.locale,
        "channel": case.channel,
        "opened_at": case.opened_at.isoformat(),
        "updated_at": case.updated_at.isoformat(),
        "state": state_mapping(talk, case.index),
    }


def message_mapping(message: Message) -> dict[str, Any]:
    return {
        "seq": message.seq,
        "direction": message.direction,
        "at": message.at.isoformat(),
        "text": message.text,
        "body": dict(message.body),
    }


def get_messages(call: Call) -> Answer:
    """What came after a sequence number: how a chat page catches up after a lost connection."""
    after = call.query_int("after", 0, 0, 999_999_999)
    limit = call.query_int("limit", TALK_PAGE, 1, TALK_PAGE)
    with call.services.turns.store.reading() as work:
        case = work.cases.get(call.path["id"], call.token_hash)
        tag = f'"v{case.version}-{after}-{limit}"'
        if call.http.headers.get("If-None-Match", "").strip() == tag:
            return Answer(304, "", {"ETag": tag})
        messages = work.messages.since(case.id, after, limit)
    last = messages[-1].seq if messages else after
    headers = {"ETag": tag}
    if last < case.message_count:
        url = f"{call.services.base_url}/api/v1/conversations/{case.id}/messages"
        headers["Link"] = f'<{url}?after={last}&limit={limit}>; rel="next"'
    body = {"messages": [message_mapping(m) for m in messages], "version": case.version, "last_seq": last}
    return Answer(200, body, headers)


def decide_estimate(call: Call) -> Answer:
    answer = decide(
        call.services.turns,
        call.path["id"],
        call.body["decision"],
        call.body.get("limit"),
        by="customer",
        channel="api",
        quote_number=call.body.get("quote_number"),
        request=call.request,
        token_hash=call.token_hash,
        traceparent=call.traceparent,
    )
    return turn_answer(answer)


def get_estimate(call: Call) -> Answer:
    """Not found before there is one."""
    case, definitions = _case(call)
    with call.services.turns.store.reading() as work:
        work.quotes.current(case.id)
    view = call.services.turns.workshop.estimate_view(definitions, case)
    return Answer(200, view, {"ETag": etag(case.version)})


def get_packing(call: Call) -> Answer:
    case, definitions = _case(call)
    view = call.services.turns.workshop.packing_view(definitions, case)
    return Answer(200, view, {"ETag": etag(case.version)})


def _case(call: Call) -> tuple[Case, Any]:
    with call.services.turns.store.reading() as work:
        case = work.cases.get(call.path["id"], call.token_hash)
    return case, call.services.turns.editions.of(case.definitions_version)


def add_photo(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        work.cases.get(call.path["id"], call.token_hash)
    sent = call.http.files.get("photo")
    if sent is None:
        raise BadInputError("photo", "no such part", "a file part named photo")
    content = sent.read(call.operation.max_bytes + 1)
    photo = call.services.photos.keep(call.path["id"], content, call.http.form.get("label", "")[:200])
    answer = _turn(call, PhotoAdded(call.services.turns.ids.message_id("photo"), photo.id))
    return Answer(201, {"photo": photo_mapping(photo), "turn": answer.mapping})


def photo_mapping(photo: Any) -> dict[str, Any]:
    return {
        "id": photo.id,
        "label": photo.label,
        "content_type": photo.content_type,
        "width": photo.width,
        "height": photo.height,
        "byte_count": photo.byte_count,
    }


def get_photo(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        work.cases.get(call.path["id"], call.token_hash)
        photo = work.photos.get(call.path["id"], call.path["photo_id"])
    headers = {
        "Content-Disposition": f'attachment; filename="{photo.id}.jpg"',
        "Content-Security-Policy": "sandbox; default-src 'none'",
    }
    return Answer(200, call.services.photos.read(photo), headers, photo.content_type)


def erase_conversation(call: Call) -> Answer:
    erase_case(call.services.turns, call.path["id"], token_hash=call.token_hash)
    return Answer(204, "")


def export_conversation(call: Call) -> Answer:
    """Everything stored about the customer's own case, as one file."""
    with call.services.turns.store.reading() as work:
        work.cases.get(call.path["id"], call.token_hash)
        body = export_case(work, call.path["id"], call.services.photos, staff=False)
    headers = {"Content-Disposition": 'attachment; filename="intake.json"'}
    return Answer(200, body, headers)


def make_join_code(call: Call) -> Answer:
    """A one-time code to go on elsewhere: send the reference and the code there within ten minutes."""
    reference, code = issue_code(call.services.turns, call.path["id"], token_hash=call.token_hash)
    return Answer(201, {"reference": reference, "code": code, "minutes": MINUTES})


def join_conversation(call: Call) -> Answer:
    """Go on with a talk that began on another channel."""
    who = f"address:{call.http.remote_addr}"
    body = call.body
    case_id, token, version = join_with_token(
        call.services.turns, body["reference"], body["code"], Via("api"), who
    )
    return Answer(200, {"conversation_id": case_id, "token": token, "version": version})
