"""The front desk's decisions about a case, and the line it has in lists."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from intakebot.conversation import Conversation, PhaseMoved
from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError, ConflictError
from intakebot.packing.cautions import stop_signs
from intakebot.packing.roles import value_for
from intakebot.records.case import Case, IndexLine
from intakebot.turn_draft import CaseChange
from intakebot.workshop.job import Job, kept

CLOSED = ("declined", "withdrawn", "finished")


def hold(definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str) -> CaseChange:
    """Let the job stand still; the customer is told why. Raises: BadInputError, ConflictError."""
    if not reason.strip():
        raise BadInputError("reason", "nothing", "why it stands still, in words for the customer")
    if case.conversation["phase"] in CLOSED:
        raise ConflictError("this case is closed")
    texts = Texts(definitions, case.family, case.conversation["locale"])
    job = replace(Job.of(case), hold=reason.strip()[:1000])
    notice = texts.say("workshop.held", reason=job.hold)
    return CaseChange(kept(case, job), notices=(notice,), events=(("held", {"reason": job.hold, "by": by}),))


def release(definitions: Definitions, case: Case, now: datetime, *, by: str) -> CaseChange:
    """Let a held job go on. Raises: ConflictError when it is not held."""
    job = Job.of(case)
    if not job.hold:
        raise ConflictError("this job is not on hold")
    texts = Texts(definitions, case.family, case.conversation["locale"])
    return CaseChange(
        kept(case, replace(job, hold="")),
        notices=(texts.say("workshop.released"),),
        events=(("released", {"by": by}),),
    )


def decline_kindly(
    definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
) -> CaseChange:
    """The shop does not take the job on. Raises: BadInputError, ConflictError once work is agreed and begun."""
    if not reason.strip():
        raise BadInputError("reason", "nothing", "why, in words for the customer")
    if case.conversation["phase"] in (*CLOSED, "on_bench"):
        raise ConflictError("this job cannot be declined any more")
    texts = Texts(definitions, case.family, case.conversation["locale"])
    job = replace(Job.of(case), declined=reason.strip()[:1000])
    return CaseChange(
        kept(case, job),
        event=PhaseMoved(f"declined-{now.isoformat()}", "withdrawn"),
        notices=(texts.say("workshop.declined", reason=job.declined),),
        events=(("declined_by_shop", {"reason": job.declined, "by": by}),),
    )


def clear_stop(case: Case, now: datetime, *, by: str) -> CaseChange:
    """A person has dealt with the stop sign: the label may be given out. Raises: ConflictError when there is none."""
    if "safety" not in case.conversation["holds"] and not Job.of(case).hold:
        raise ConflictError("there is no stop sign to clear")
    job = replace(Job.of(case), cleared=True)
    return CaseChange(kept(case, job), events=(("stop_cleared", {"by": by}),))


def waits_for(case: Case, conversation: Conversation) -> str:
    """Who or what is next: shop_answer, customer_consent, box, bench, collection or nothing."""
    job = Job.of(case)
    phase = conversation.phase
    if phase in ("declined", "withdrawn"):
        return "nothing"
    if phase == "finished":
        return "nothing" if job.collected else "collection"
    if conversation.floor == "person" or ("safety" in conversation.holds and not job.cleared):
        return "shop_answer"
    if job.hold == "part_missing":
        return "box"
    if job.hold:
        return "shop_answer"
    if job.consent is not None and job.consent.state == "quoted" and phase != "open":
        return "customer_consent"
    return {"open": "nothing", "estimated": "customer_consent", "accepted": "box", "shipped": "box"}.get(
        phase, "bench"
    )


def index_line(definitions: Definitions, case: Case, conversation: Conversation) -> IndexLine:
    """The columns of lists. Search words: reference, name, model, device, postcode; lower case."""
    family, answers = definitions.families[conversation.family], conversation.answers

    def said(role: str) -> str:
        value = value_for(family, answers, role)  # type: ignore[arg-type]
        return str(value) if value is not None else ""

    texts = Texts(definitions, family.id, definitions.locales[0] if "en" not in definitions.locales else "en")
    kind = said("device_kind")
    device = texts.say(f"device.{kind}") if kind and texts.has(f"device.{kind}") else ""
    words = (
        " ".join((case.reference, said("name"), said("model_name"), device, said("postcode")))
        .casefold()
        .split()
    )
    return IndexLine(
        phase=conversation.phase,
        floor=conversation.floor,
        waits_for=waits_for(case, conversation),
        customer_name=said("name"),
        device=kind,
        has_hazard=bool(stop_signs(family, answers)),
        search_words=tuple(dict.fromkeys(words)),
    )
