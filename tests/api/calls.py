"""Small steps shared by the API tests."""

from __future__ import annotations

from typing import Any

from flask.testing import FlaskClient

from intakebot.records.access import ShopKey
from intakebot.records.tokens import hash_secret
from intakebot.web.api import ApiServices
from tests.turns.doubles import NOW


def bearer(token: str, **more: str) -> dict[str, str]:
    return {
        "Authorization": f"Bearer {token}",
        **{name.replace("_", "-"): value for name, value in more.items()},
    }


def opened(client: FlaskClient, **body: Any) -> tuple[str, str]:
    """A new conversation: (id, token)."""
    answer = client.post("/api/v1/conversations", json={"locale": "en", **body})
    assert answer.status_code == 201, answer.text
    return answer.json["conversation_id"], answer.json["token"]


def shop_key(api: ApiServices, *scopes: str) -> str:
    """A new shop key with scopes, as the shop's systems hold it."""
    store = api.turns.store
    key_id = api.turns.ids.message_id("key")[:20]
    with store.unit_of_work() as work:
        work.shop_keys.add(ShopKey(key_id, "a key", hash_secret("secret"), tuple(scopes), NOW))
        work.commit()
    return f"ik_{key_id}.secret"
