"""JSON Schemas (2020-12) of the API: the same objects validate requests and are printed in the OpenAPI document."""

from __future__ import annotations

from typing import Any

from intakebot.channels.gateway import INBOUND
from intakebot.turn_draft import EVENT_TYPES

MAX_TEXT = 4000
"""Characters of one message. Longer ones are refused, so nothing is read that is not kept."""

_PHASES = [
    "open",
    "estimated",
    "accepted",
    "declined",
    "shipped",
    "arrived",
    "on_bench",
    "finished",
    "withdrawn",
]
SCOPES = (
    "intakes:read",
    "intakes:write",
    "endpoints:manage",
    "gateways:manage",
    "keys:manage",
    "data:manage",
)


def ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def obj(required: dict[str, Any], optional: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """An object with exactly these members."""
    return {
        "type": "object",
        "required": sorted(required),
        "properties": required | (optional or {}),
        "additionalProperties": False,
        **more,
    }


def array(items: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"type": "array", "items": items, **more}


TEXT = {"type": "string"}
INT = {"type": "integer"}
BOOL = {"type": "boolean"}
WHEN = {"type": "string", "format": "date-time"}
MAYBE_WHEN = {"type": ["string", "null"], "format": "date-time"}
HANDSHAKE = {
    "enum": ["required", "skipped"],
    "description": "required: the receiver is asked first (OPTIONS, CloudEvents webhook 1.0.2); skipped: it is not.",
}
ENDPOINT_STATE = {
    "enum": ["active", "unconfirmed", "disabled"],
    "description": "unconfirmed: nothing but a test is sent until the receiver has said yes.",
}
ANYTHING: dict[str, Any] = {"description": "A JSON value; its type depends on the fact."}
FREE: dict[str, Any] = {"type": "object", "additionalProperties": True}

SCHEMAS: dict[str, dict[str, Any]] = {
    "Problem": {
        "type": "object",
        "required": ["type", "title", "status", "detail", "instance"],
        "properties": {
            "type": {"type": "string", "format": "uri-reference"},
            "title": TEXT,
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "detail": TEXT,
            "instance": TEXT,
            "errors": array(obj({"pointer": TEXT, "detail": TEXT, "code": TEXT})),
        },
        "additionalProperties": False,
        "description": "Problem details for HTTP APIs, RFC 9457.",
    },
    "Choice": obj({"label": TEXT, "value": TEXT}),
    "Reply": obj(
        {"text": TEXT, "choices": array(ref("Choice")), "kind": TEXT},
        {
            "several": {
                "type": "boolean",
                "description": "A checklist: any number of the choices may be picked. Their values begin alike, "
                "`question:id`; send one choice, `question:id+id+id`. The ids `none` and `not_sure` stand alone.",
            }
        },
    ),
    "Heard": obj(
        {
            "fact": TEXT,
            "value": ANYTHING,
            "status": {"enum": ["heard", "confirmed", "not_known", "declined"]},
            "label": TEXT,
            "value_label": TEXT,
            "before": ANYTHING,
            "source": TEXT,
        }
    ),
    "State": obj(
        {
            "phase": {"enum": _PHASES},
            "floor": {"enum": ["self", "person", "paused"]},
            "consent": {"enum": ["allowed", "opted_out"]},
            "holds": array(TEXT),
            "waits_for": TEXT,
        }
    ),
    "NewConversation": obj(
        {},
        {
            "channel": {"type": "string", "pattern": "^[a-z][a-z0-9_]{0,31}$", "default": "api"},
            "locale": {"type": "string", "maxLength": 16},
            "family": {"type": "string", "maxLength": 64},
            "text": {"type": "string", "maxLength": MAX_TEXT},
        },
    ),
    "TurnAnswer": obj(
        {
            "conversation_id": TEXT,
            "reference": TEXT,
            "version": {"type": "integer", "minimum": 1},
            "state": ref("State"),
            "heard": array(ref("Heard")),
            "replies": array(ref("Reply")),
            "asked": {"type": ["string", "null"]},
        }
    ),
    "NewMessage": {
        "oneOf": [
            obj({"text": {"type": "string", "maxLength": MAX_TEXT}}),
            obj(
                {
                    "choice": {
                        "type": "string",
                        "minLength": 1,
                        "maxLength": 200,
                        "description": "The value of a choice of the last replies; of a checklist, several ids joined by "
                        "`+`, such as `noticed:clicking+rattles`.",
                    }
                }
            ),
        ]
    },
    "FactsPatch": obj(
        {},
        {
            "facts": {"type": "object", "maxProperties": 200, "propertyNames": {"maxLength": 64}},
            "declined": array({"type": "string", "maxLength": 64}, maxItems=200),
            "cleared": array({"type": "string", "maxLength": 64}, maxItems=200),
        },
        minProperties=1,
    ),
    "RecapLine": obj(
        {
            "fact": TEXT,
            "label": TEXT,
            "value_label": TEXT,
            "status": TEXT,
            "source": TEXT,
        }
    ),
    "TalkMessage": obj(
        {
            "seq": {"type": "integer", "minimum": 1},
            "direction": {"enum": ["in", "out", "staff"]},
            "at": WHEN,
            "text": TEXT,
            "body": FREE,
        }
    ),
    "Conversation": obj(
        {
            "conversation_id": TEXT,
            "reference": TEXT,
            "version": INT,
            "locale": TEXT,
            "channel": TEXT,
            "opened_at": WHEN,
            "updated_at": WHEN,
            "state": ref("State"),
            "form": ref("IntakeForm"),
            "recap": array(ref("RecapLine")),
            "messages": array(ref("TalkMessage")),
        }
    ),
    "Messages": obj({"messages": array(ref("TalkMessage")), "version": INT, "last_seq": INT}),
    "IntakeForm": obj({"form": TEXT, "facts": FREE}),
    "Decision": obj(
        {"decision": {"enum": ["accept", "decline"]}},
        {
            "limit": {"type": "string", "pattern": r"^[0-9]{1,9}(\.[0-9]{1,4})?$"},
            "quote_number": {"type": "integer", "minimum": 1, "maximum": 100000},
        },
    ),
    "Estimate": FREE,
    "Packing": FREE,
    "Pretriage": FREE,
    "Photo": obj(
        {"id": TEXT, "label": TEXT, "content_type": TEXT, "width": INT, "height": INT, "byte_count": INT}
    ),
    "PhotoStored": obj({"photo": ref("Photo"), "turn": ref("TurnAnswer")}),
    "IntakeLine": obj(
        {
            "conversation_id": TEXT,
            "reference": TEXT,
            "version": INT,
            "phase": TEXT,
            "floor": TEXT,
            "waits_for": TEXT,
            "customer_name": TEXT,
            "device": TEXT,
            "has_hazard": BOOL,
            "opened_at": WHEN,
            "updated_at": WHEN,
        }
    ),
    "IntakeList": obj({"intakes": array(ref("IntakeLine")), "next": {"type": ["string", "null"]}}),
    "Intake": obj(
        {
            "conversation_id": TEXT,
            "reference": TEXT,
            "version": INT,
            "locale": TEXT,
            "channel": TEXT,
            "opened_at": WHEN,
            "updated_at": WHEN,
            "state": ref("State"),
            "form": ref("IntakeForm"),
            "messages": array(ref("TalkMessage")),
            "quotes": array(FREE),
            "authorisations": array(FREE),
            "photos": array(ref("Photo")),
        }
    ),
    "Quotes": obj({"reason": {"type": "string", "minLength": 1, "maxLength": 500}}),
    "Arrival": obj(
        {
            "found": {
                "type": "object",
                "maxProperties": 100,
                "additionalProperties": {"enum": ["here", "missing", "different", "extra"]},
            }
        },
        {
            "screws": {"type": "integer", "minimum": 0, "maximum": 500},
            "seals": {"enum": ["intact", "broken", "none"]},
            "earlier_repair": array({"type": "string", "maxLength": 200}, maxItems=20),
            "weight_kg": {"type": "string", "pattern": r"^[0-9]{1,3}(\.[0-9]{1,3})?$"},
            "disc": {"enum": ["here", "none"]},
            "board_matches": BOOL,
            "notes": {"type": "string", "maxLength": 2000},
        },
    ),
    "StepResult": obj(
        {
            "step": {"type": "string", "minLength": 1, "maxLength": 64},
            "result": {"enum": ["done", "test_passed", "test_failed", "could_not", "saw"]},
        },
        {
            "seen": {"type": "object", "maxProperties": 50, "propertyNames": {"maxLength": 64}},
            "minutes": {"type": "string", "pattern": r"^[0-9]{1,4}(\.[0-9]{1,2})?$"},
        },
    ),
    "Outcome": obj(
        {
            "ending": {"enum": ["fixed", "repairable", "end_of_life", "unknown"]},
            "causes": array({"type": "string", "maxLength": 64}, maxItems=3),
        },
        {
            "total": {"type": "string", "pattern": r"^[0-9]{1,9}(\.[0-9]{1,4})?$"},
            "note": {"type": "string", "maxLength": 2000},
        },
    ),
    "NewEndpoint": obj(
        {"url": {"type": "string", "minLength": 1, "maxLength": 2000}},
        {
            "description": {"type": "string", "maxLength": 300},
            "event_types": array({"enum": list(EVENT_TYPES)}, maxItems=50, uniqueItems=True),
            "handshake": HANDSHAKE,
        },
    ),
    "EndpointPatch": obj(
        {},
        {
            "url": {"type": "string", "minLength": 1, "maxLength": 2000},
            "description": {"type": "string", "maxLength": 300},
            "event_types": array({"enum": list(EVENT_TYPES)}, maxItems=50, uniqueItems=True),
            "handshake": HANDSHAKE,
        },
    ),
    "EndpointConfirmed": obj({"id": TEXT, "state": ENDPOINT_STATE}),
    "Endpoint": obj(
        {
            "id": TEXT,
            "url": TEXT,
            "description": TEXT,
            "event_types": array(TEXT),
            "state": ENDPOINT_STATE,
            "reason": TEXT,
            "failing_since": MAYBE_WHEN,
            "created_at": WHEN,
            "handshake": HANDSHAKE,
            "allowed_rate": {
                "type": ["integer", "null"],
                "description": "Requests a minute the receiver allows.",
            },
        },
        {"secret": {"type": "string", "description": "Shown once, when it was made."}},
    ),
    "EndpointList": obj({"endpoints": array(ref("Endpoint"))}),
    "Delivery": obj(
        {
            "id": TEXT,
            "kind": TEXT,
            "state": {"enum": ["waiting", "done", "failed", "set_aside", "dropped"]},
            "created_at": WHEN,
            "due_at": WHEN,
            "attempt": INT,
            "last_error": TEXT,
            "attempts": array(
                obj(
                    {
                        "number": INT,
                        "at": WHEN,
                        "status": {"type": ["integer", "null"]},
                        "error": TEXT,
                        "took_ms": INT,
                    }
                )
            ),
        }
    ),
    "DeliveryList": obj({"deliveries": array(ref("Delivery"))}),
    "Queued": obj({"id": TEXT}),
    "NewGateway": obj(
        {"url": {"type": "string", "minLength": 1, "maxLength": 2000}},
        {
            "id": {"type": "string", "pattern": "^[a-z][a-z0-9_]{0,31}$"},
            "alphabet": {"enum": ["gsm7", "unicode"]},
            "max_parts": {"type": "integer", "minimum": 1, "maximum": 10},
            "pictures": BOOL,
            "choices": BOOL,
        },
    ),
    "Gateway": obj(
        {
            "id": TEXT,
            "url": TEXT,
            "alphabet": TEXT,
            "max_parts": INT,
            "pictures": BOOL,
            "choices": BOOL,
            "state": TEXT,
            "reason": TEXT,
            "failing_since": MAYBE_WHEN,
            "created_at": WHEN,
        },
        {"secret": {"type": "string", "description": "Shown once, when it was made."}},
    ),
    "GatewayList": obj({"gateways": array(ref("Gateway"))}),
    "Inbound": INBOUND,
    "InboundTaken": obj({"conversation_id": TEXT, "reference": TEXT, "version": INT}),
    "NewKey": obj(
        {
            "name": {"type": "string", "minLength": 1, "maxLength": 200},
            "scopes": array({"enum": list(SCOPES)}, minItems=1, uniqueItems=True),
        },
        {"days": {"type": "integer", "minimum": 1, "maximum": 3650}},
    ),
    "Key": obj(
        {
            "id": TEXT,
            "name": TEXT,
            "scopes": array(TEXT),
            "created_at": WHEN,
            "expires_at": MAYBE_WHEN,
            "revoked_at": MAYBE_WHEN,
            "last_used_at": MAYBE_WHEN,
        },
        {"key": {"type": "string", "description": "Shown once, when it was made."}},
    ),
    "KeyList": obj({"keys": array(ref("Key"))}),
    "IntakeFile": {
        "type": "object",
        "required": ["format"],
        "properties": {"format": {"const": "intakebot-intake-1"}},
    },
    "Imported": obj({"conversation_id": TEXT, "reference": TEXT, "version": INT}),
    "JoinCode": obj({"reference": TEXT, "code": TEXT, "minutes": INT}),
    "Join": obj(
        {
            "reference": {"type": "string", "maxLength": 16},
            "code": {"type": "string", "pattern": "^[0-9]{7}$"},
        }
    ),
    "Joined": obj({"conversation_id": TEXT, "token": TEXT, "version": INT}),
    "Event": obj(
        {
            "specversion": {"const": "1.0"},
            "id": TEXT,
            "source": {"type": "string", "format": "uri-reference"},
            "type": {"enum": ["intakebot." + name for name in (*EVENT_TYPES, "endpoint.test")]},
            "subject": TEXT,
            "time": WHEN,
            "datacontenttype": {"const": "application/json"},
            "data": FREE,
        }
    ),
    "Free": FREE,
    "Health": obj({"status": TEXT}),
    "ProblemType": obj({"type": TEXT, "status": INT, "title": TEXT}),
}
SCHEMAS["OpenedConversation"] = obj(
    SCHEMAS["TurnAnswer"]["properties"]
    | {"token": {"type": "string", "description": "Shown once; send it as Bearer token."}}
)
