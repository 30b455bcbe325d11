"""Every operation of the API. Adding one here adds its route, its checks and its place in the OpenAPI document."""

from __future__ import annotations

from intakebot.web import api_open, api_talk
from intakebot.web.api_operations import Operation, Parameter

MAX_PHOTO_BYTES = 8 * 1024 * 1024 + 64 * 1024
_ID = {"id": "$response.body#/conversation_id"}
_AFTER = Parameter(
    "after", {"type": "integer", "minimum": 0, "maximum": 999999999}, "Messages after this number."
)
_LIMIT = Parameter("limit", {"type": "integer", "minimum": 1, "maximum": 100}, "At most so many.")
_TEXT_PLAIN = "text/plain"

OPEN = (
    Operation("livez", "GET", "/livez", "The process answers", api_open.livez, "anyone", {200: "Health"}, root=True),
    Operation(
        "readyz", "GET", "/readyz", "The service can take turns", api_open.readyz, "anyone",
        {200: "Health", 503: "Health"}, root=True,
    ),
    Operation(
        "metrics", "GET", "/metrics", "Counters in Prometheus text form", api_open.metrics, "anyone",
        {200: ("text/plain", "Prometheus exposition format")}, root=True,
    ),
    Operation(
        "getOpenApi", "GET", "/openapi.json", "This document", api_open.openapi, "anyone", {200: "Free"},
    ),
    Operation(
        "getDocs", "GET", "/docs", "This document as a page", api_open.docs, "anyone",
        {200: ("text/html", "A page")},
    ),
    Operation(
        "getFormSchema", "GET", "/schemas/intake-form/{version}", "JSON Schema of the intake form",
        api_open.form_schema, "anyone", {200: ("application/schema+json", "JSON Schema 2020-12")}, problems=(404,),
    ),
    Operation(
        "getProblemType", "GET", "/problems/{kind}", "What a problem type means", api_open.problem_type, "anyone",
        {200: "ProblemType"}, problems=(404,),
    ),
)  # fmt: skip

TALK = (
    Operation(
        "openConversation", "POST", "/conversations", "Begin a conversation", api_talk.open_conversation, "anyone",
        {201: "OpenedConversation"}, body="NewConversation", key="optional",
        links=dict.fromkeys(("sendMessage", "getConversation", "getMessages", "patchFacts", "getEstimate", "decideEstimate", "getPacking", "addPhoto", "exportConversation", "eraseConversation"), _ID),
    ),
    Operation(
        "sendMessage", "POST", "/conversations/{id}/messages", "Say something, or take a choice",
        api_talk.send_message, "customer", {200: "TurnAnswer"}, body="NewMessage", key="optional", problems=(404,),
    ),
    Operation(
        "getMessages", "GET", "/conversations/{id}/messages", "The talk after a message number",
        api_talk.get_messages, "customer", {200: "Messages", 304: None}, query=(_AFTER, _LIMIT),
        problems=(404, 422),
    ),
    Operation(
        "getConversation", "GET", "/conversations/{id}", "Facts, state, messages, recap",
        api_talk.get_conversation, "customer", {200: "Conversation", 304: None}, problems=(404,),
    ),
    Operation(
        "patchFacts", "PATCH", "/conversations/{id}/facts", "Fill in or correct facts, as on the one-page form",
        api_talk.patch_facts, "customer", {200: "TurnAnswer"}, body="FactsPatch", key="optional", problems=(404,),
    ),
    Operation(
        "addPhoto", "POST", "/conversations/{id}/photos", "Add a photo (JPEG, PNG, WebP or HEIC)",
        api_talk.add_photo, "customer", {201: "PhotoStored"}, body="multipart", problems=(404,),
        max_bytes=MAX_PHOTO_BYTES,
    ),
    Operation(
        "getPhoto", "GET", "/conversations/{id}/photos/{photo_id}", "A stored photo", api_talk.get_photo, "customer",
        {200: ("image/jpeg", "The picture, re-encoded")}, problems=(404,),
    ),
    Operation(
        "getEstimate", "GET", "/conversations/{id}/estimate", "The estimate", api_talk.get_estimate, "customer",
        {200: "Estimate"}, problems=(404,),
    ),
    Operation(
        "decideEstimate", "POST", "/conversations/{id}/authorisation", "Accept or decline the estimate",
        api_talk.decide_estimate, "customer", {200: "TurnAnswer"}, body="Decision", key="required",
        problems=(404, 409),
    ),
    Operation(
        "getPacking", "GET", "/conversations/{id}/packing", "What goes into the box, and how", api_talk.get_packing,
        "customer", {200: "Packing"}, problems=(404,),
    ),
    Operation(
        "exportConversation", "GET", "/conversations/{id}/export", "Everything stored about this conversation",
        api_talk.export_conversation, "customer", {200: "IntakeFile"}, problems=(404,),
    ),
    Operation(
        "eraseConversation", "DELETE", "/conversations/{id}", "Erase it, for good", api_talk.erase_conversation,
        "customer", {204: None}, problems=(404, 409),
    ),
)  # fmt: skip

OPERATIONS: tuple[Operation, ...] = OPEN + TALK
