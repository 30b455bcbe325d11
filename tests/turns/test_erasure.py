"""Erasing leaves no trace but what must stay; retention erases what was kept long enough."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from intakebot.conversation import FactsEntered, MessageReceived
from intakebot.errors import ConflictError, NotFoundError
from intakebot.records import Store
from intakebot.records.cases import with_index
from intakebot.records.photos import PhotoStore
from intakebot.retention import keep_house
from intakebot.turns import (
    CaseChange,
    Opened,
    Request,
    Services,
    Via,
    change_case,
    erase_case,
    open_case,
    take_turn,
)
from tests.turns.doubles import Clock

CANARY = "Zanzibarine Quillfeather"
PHONE = "+447700900177"


@pytest.fixture
def photos(store: Store, services: Services, clock: Clock, tmp_path: Path) -> PhotoStore:
    return PhotoStore(f"file://{tmp_path / 'photos'}", store, services.ids, clock)


def _talk(services: Services, photos: PhotoStore) -> Opened:
    """A talk full of canaries: in messages, facts, a photo's label, stored answers, outbox, search words."""
    request = Request("s", "opening", "f")
    opened = open_case(
        services, via=Via("gateway:g", PHONE, "sms"), locale="en", text=f"I am {CANARY}", request=request
    )
    case_id = opened.conversation_id
    take_turn(services, case_id, FactsEntered("f", {"name": CANARY}), request=Request("s", "form", "f"))
    take_turn(services, case_id, MessageReceived("m", f"{CANARY} again"), request=Request("s", "m", "f"))
    picture = io.BytesIO()
    Image.new("RGB", (20, 20)).save(picture, "PNG")
    photos.keep(case_id, picture.getvalue(), CANARY)
    return opened


def _hits(folder: Path, *words: str) -> list[str]:
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            content = path.read_bytes().lower()
            found += [f"{path.name}: {word}" for word in words if word.lower().encode() in content]
    return found


WORDS = (CANARY, "Zanzibarine", "Quillfeather", PHONE)


def test_no_byte_of_an_erased_case_is_left_on_disk(
    services: Services, photos: PhotoStore, tmp_path: Path
) -> None:
    """SQLite keeps deleted rows' bytes in free pages and in the write-ahead log unless it is told not to."""
    opened = _talk(services, photos)
    services.store.checkpoint()
    before = _hits(tmp_path, *WORDS)

    erase_case(services, opened.conversation_id)

    assert before
    assert _hits(tmp_path, *WORDS) == []
    assert not list((tmp_path / "photos").rglob("*.jpg"))


def test_erasing_by_words_in_the_talk_erases_the_same(
    services: Services, photos: PhotoStore, tmp_path: Path
) -> None:
    opened = _talk(services, photos)

    take_turn(services, opened.conversation_id, MessageReceived("e1", "erase my data"))
    answer = take_turn(
        services, opened.conversation_id, MessageReceived("e2", "yes"), request=Request("s", "e2", "f")
    )

    assert answer.mapping["replies"]
    with pytest.raises(NotFoundError):
        take_turn(services, opened.conversation_id, MessageReceived("e3", "hello"))
    again = take_turn(
        services, opened.conversation_id, MessageReceived("e2", "yes"), request=Request("s", "e2", "f")
    )
    assert again.body == answer.body
    with services.store.reading() as work:
        [farewell] = work.outbox.of_target("gateway:g")
    assert (farewell.kind, farewell.address) == ("farewell", PHONE)
    with services.store.unit_of_work() as work:  # once it was sent, the address goes too
        from intakebot.records.outbox import Attempt

        [item] = work.outbox.claim("w", services.now(), 60, 10)
        work.outbox.sent(item, Attempt(1, services.now(), 200, "", 1))
        work.commit()
    services.store.checkpoint()
    assert _hits(tmp_path, *WORDS) == []


def test_an_opt_out_outlives_the_erasure_as_a_hash(
    services: Services, photos: PhotoStore, tmp_path: Path
) -> None:
    opened = _talk(services, photos)
    take_turn(services, opened.conversation_id, MessageReceived("s", "STOP"))

    erase_case(services, opened.conversation_id)

    with services.store.reading() as work:
        assert work.opt_outs.has("gateway:g", PHONE)
    assert _hits(tmp_path, *WORDS) == []


def test_a_case_on_legal_hold_is_kept(services: Services, photos: PhotoStore) -> None:
    from dataclasses import replace

    opened = _talk(services, photos)
    change_case(
        services,
        opened.conversation_id,
        lambda d, c, now: CaseChange(replace(c, legal_hold=True)),
        actor="staff:1",
    )

    with pytest.raises(ConflictError):
        erase_case(services, opened.conversation_id)


def test_drafts_go_after_30_days_and_jobs_stay(services: Services, clock: Clock) -> None:
    draft = open_case(services, via=Via("web"), locale="en").conversation_id
    job = open_case(services, via=Via("web"), locale="en").conversation_id
    with services.store.unit_of_work() as work:
        case = work.cases.get(job)
        work.cases.save(with_index(case, phase="finished"), case.version)
        work.commit()
    clock.move(days=29)
    early = keep_house(services)
    clock.move(days=2)

    late = keep_house(services)

    with services.store.reading() as work:
        left = [line.id for line in work.cases.page().lines]
    assert (early, late, left) == (0, 1, [job])
    assert draft not in left
    clock.move(days=730)
    assert keep_house(services) == 1
