"""Every operation of the API. Adding one here adds its route, its checks and its place in the OpenAPI document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from intakebot.web import api_open, api_receivers, api_shop, api_talk
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

JOIN = (
    Operation(
        "makeJoinCode", "POST", "/conversations/{id}/join-code", "A code to go on with this talk elsewhere",
        api_talk.make_join_code, "customer", {201: "JoinCode"}, problems=(404, 409),
    ),
    Operation(
        "joinConversation", "POST", "/join", "Go on with a talk by its reference and a one-time code",
        api_talk.join_conversation, "anyone", {200: "Joined"}, body="Join", problems=(404, 409),
    ),
)  # fmt: skip

_WORD = {"type": "string", "maxLength": 64}
_LISTED = tuple(
    Parameter(name, _WORD, f"Only intakes with this {name}.") for name in ("waits_for", "phase", "floor")
)
_INTAKE = {"id": "$response.body#/intakes/0/conversation_id"}

SHOP = (
    Operation(
        "listIntakes", "GET", "/intakes", "Intakes, last changed first", api_shop.list_intakes, "shop",
        {200: "IntakeList"}, scope="intakes:read", problems=(422,),
        query=(
            *_LISTED,
            Parameter("search", {"type": "string", "maxLength": 200}, "Words: name, reference, model."),
            Parameter("after", {"type": "string", "maxLength": 300}, "The cursor of the page before."),
            _LIMIT,
        ),
        links=dict.fromkeys(("getIntake", "getPretriage", "exportIntake"), _INTAKE),
    ),
    Operation(
        "getIntake", "GET", "/intakes/{id}", "One intake: form, talk, quotes, consent log", api_shop.get_intake,
        "shop", {200: "Intake", 304: None}, scope="intakes:read", problems=(404,),
    ),
    Operation(
        "getPretriage", "GET", "/intakes/{id}/pretriage", "The technician's view before the box arrives",
        api_shop.get_pretriage, "shop", {200: "Pretriage"}, scope="intakes:read", problems=(404,),
    ),
    Operation(
        "reviseQuote", "POST", "/intakes/{id}/quotes", "Issue a revised quote", api_shop.revise_quote, "shop",
        {200: "TurnAnswer"}, body="Quotes", scope="intakes:write", key="optional", if_match=True,
        problems=(404, 409),
    ),
    Operation(
        "recordArrival", "POST", "/intakes/{id}/arrival", "The arrival check", api_shop.record_arrival, "shop",
        {200: "TurnAnswer"}, body="Arrival", scope="intakes:write", key="optional", if_match=True,
        problems=(404, 409),
    ),
    Operation(
        "recordStep", "POST", "/intakes/{id}/bench/steps", "How a bench step went", api_shop.record_step, "shop",
        {200: "TurnAnswer"}, body="StepResult", scope="intakes:write", key="optional", if_match=True,
        problems=(404, 409),
    ),
    Operation(
        "recordOutcome", "POST", "/intakes/{id}/outcome", "How the job ended", api_shop.record_outcome, "shop",
        {200: "TurnAnswer"}, body="Outcome", scope="intakes:write", key="optional", if_match=True,
        problems=(404, 409),
    ),
    Operation(
        "exportIntake", "GET", "/intakes/{id}/export", "The whole intake as one file", api_shop.export_intake,
        "shop", {200: "IntakeFile"}, scope="data:manage", problems=(404,),
    ),
    Operation(
        "importIntake", "POST", "/intakes", "Take an exported intake in", api_shop.import_intake, "shop",
        {201: "Imported"}, body="IntakeFile", scope="data:manage", problems=(409,), max_bytes=64 * 1024 * 1024,
    ),
    Operation(
        "eraseIntake", "DELETE", "/intakes/{id}", "Erase an intake, for good", api_shop.erase_intake, "shop",
        {204: None}, scope="data:manage", problems=(404, 409),
    ),
)  # fmt: skip

_STATE = Parameter("state", {"enum": list(api_receivers.DELIVERY_STATES)}, "Only deliveries in this state.")
_CONFIRMATION = Parameter("key", {"type": "string", "maxLength": 100}, "The secret of the callback URL.")
_ENDPOINT = {"id": "$response.body#/id"}


def _managed(
    name: str,
    method: str,
    path: str,
    summary: str,
    handler: Any,
    answers: Mapping[int, Any],
    scope: str,
    **more: Any,
) -> Operation:
    return Operation(name, method, path, summary, handler, "shop", answers, scope=scope, **more)


_E, _G, _K = "endpoints:manage", "gateways:manage", "keys:manage"
RECEIVERS = (
    _managed(
        "addEndpoint", "POST", "/endpoints", "Add a webhook endpoint", api_receivers.add_endpoint, {201: "Endpoint"},
        _E, body="NewEndpoint", problems=(409,),
        links=dict.fromkeys(("getEndpoint", "rotateEndpoint", "testEndpoint", "listDeliveries", "removeEndpoint"), _ENDPOINT),
    ),
    _managed(
        "listEndpoints", "GET", "/endpoints", "All webhook endpoints", api_receivers.list_endpoints,
        {200: "EndpointList"}, _E,
    ),
    _managed(
        "getEndpoint", "GET", "/endpoints/{id}", "One endpoint", api_receivers.get_endpoint, {200: "Endpoint"}, _E,
        problems=(404,),
    ),
    _managed(
        "changeEndpoint", "PATCH", "/endpoints/{id}", "Change an endpoint; a new URL is asked for permission anew",
        api_receivers.change_endpoint, {200: "Endpoint"}, _E, body="EndpointPatch", problems=(404,),
    ),
    Operation(
        "confirmEndpoint", "GET", "/endpoints/{id}/confirmation", "A receiver says yes (WebHook-Request-Callback)",
        api_receivers.confirm_endpoint, "anyone", {200: "EndpointConfirmed"}, query=(_CONFIRMATION,),
        problems=(404, 409, 422),
    ),
    Operation(
        "confirmEndpointByPost", "POST", "/endpoints/{id}/confirmation", "A receiver says yes (WebHook-Request-Callback)",
        api_receivers.confirm_endpoint, "anyone", {200: "EndpointConfirmed"}, query=(_CONFIRMATION,),
        problems=(404, 409, 422),
    ),
    _managed(
        "removeEndpoint", "DELETE", "/endpoints/{id}", "Remove an endpoint", api_receivers.remove_endpoint,
        {204: None}, _E, problems=(404,),
    ),
    _managed(
        "rotateEndpoint", "POST", "/endpoints/{id}/rotate", "A new signing secret", api_receivers.rotate_endpoint,
        {200: "Endpoint"}, _E, problems=(404,),
    ),
    _managed(
        "enableEndpoint", "POST", "/endpoints/{id}/enable", "Switch on again and resend what failed",
        api_receivers.enable_endpoint, {200: "Endpoint"}, _E, problems=(404,),
    ),
    _managed(
        "testEndpoint", "POST", "/endpoints/{id}/test", "Send a test event", api_receivers.test_endpoint,
        {202: "Queued"}, _E, problems=(404, 409),
    ),
    _managed(
        "listDeliveries", "GET", "/endpoints/{id}/deliveries", "Deliveries and their tries",
        api_receivers.list_deliveries, {200: "DeliveryList"}, _E, query=(_STATE,), problems=(404, 422),
    ),
    _managed(
        "replayDelivery", "POST", "/endpoints/{id}/deliveries/{delivery_id}/replay", "Send a delivery once more",
        api_receivers.replay_delivery, {202: "Queued"}, _E, problems=(404, 409),
    ),
    _managed(
        "addGateway", "POST", "/gateways", "Add a messenger or SMS gateway", api_receivers.add_gateway,
        {201: "Gateway"}, _G, body="NewGateway", problems=(409,),
    ),
    _managed(
        "listGateways", "GET", "/gateways", "All gateways", api_receivers.list_gateways, {200: "GatewayList"}, _G,
    ),
    _managed(
        "removeGateway", "DELETE", "/gateways/{id}", "Remove a gateway", api_receivers.remove_gateway, {204: None},
        _G, problems=(404,),
    ),
    _managed(
        "rotateGateway", "POST", "/gateways/{id}/rotate", "A new signing secret", api_receivers.rotate_gateway,
        {200: "Gateway"}, _G, problems=(404,),
    ),
    _managed(
        "enableGateway", "POST", "/gateways/{id}/enable", "Switch on again and resend what failed",
        api_receivers.enable_gateway, {200: "Gateway"}, _G, problems=(404,),
    ),
    _managed(
        "testGateway", "POST", "/gateways/{id}/test", "Send a test", api_receivers.test_gateway, {202: "Queued"}, _G,
        problems=(404, 409),
    ),
    Operation(
        "allowInbound", "OPTIONS", "/inbound/{gateway}", "May a gateway deliver here, and how fast",
        api_receivers.allow_inbound, "anyone", {204: None}, problems=(404,),
    ),
    Operation(
        "inbound", "POST", "/inbound/{gateway}", "A customer's message, from a gateway", api_receivers.inbound,
        "gateway", {200: "InboundTaken"}, body="Inbound", problems=(409,),
    ),
    _managed("addKey", "POST", "/keys", "Make a shop key", api_receivers.add_key, {201: "Key"}, _K, body="NewKey"),
    _managed("listKeys", "GET", "/keys", "All shop keys", api_receivers.list_keys, {200: "KeyList"}, _K),
    _managed(
        "rotateKey", "POST", "/keys/{id}/rotate", "A new key; the old one goes on for a day",
        api_receivers.rotate_key, {200: "Key"}, _K, problems=(404, 409),
    ),
    _managed(
        "revokeKey", "DELETE", "/keys/{id}", "Revoke a key at once", api_receivers.revoke_key, {204: None}, _K,
        problems=(404,),
    ),
)  # fmt: skip

OPERATIONS: tuple[Operation, ...] = OPEN + TALK + JOIN + SHOP + RECEIVERS
