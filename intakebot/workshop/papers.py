"""The shop's papers for one case, as sheets and pictures. Composes; computes nothing of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import partial

from intakebot.assess import Assessments
from intakebot.conversation import Conversation
from intakebot.dates import day_month_year
from intakebot.definitions.texts import Texts
from intakebot.documents.bench_record import (
    BenchRecord,
    ReturnNote,
    StepLine,
    bench_record_sheet,
    return_note_sheet,
)
from intakebot.documents.drawn import label_for, ladder_labels, packing_picture, price_labels
from intakebot.documents.fault_picture import chances_picture
from intakebot.documents.intake_form import intake_sheet
from intakebot.documents.label import Label
from intakebot.documents.ladder import ladder_picture
from intakebot.documents.pictures import Picture
from intakebot.documents.pretriage import pretriage_sheet
from intakebot.documents.price_picture import price_picture
from intakebot.errors import NotFoundError
from intakebot.packing.bench_queue import Queue
from intakebot.packing.cautions import shown_cautions
from intakebot.packing.roles import value_for
from intakebot.packing.sheet import PackingSheet, packing_sheet
from intakebot.packing.sheet_words import contents as box_contents
from intakebot.packing.sheet_words import inside_slip, packing_document
from intakebot.quoting.estimate import Estimate
from intakebot.quoting.estimate_sheet import estimate_sheet
from intakebot.quoting.money import Money, format_money
from intakebot.records.case import Case
from intakebot.sheets import Sheet
from intakebot.workshop.arrival import DEVICE
from intakebot.workshop.closing import acceptance
from intakebot.workshop.estimating import current_estimate, local_day
from intakebot.workshop.job import Job
from intakebot.workshop.pretriage import plan_name, pretriage


class Papers:
    """Papers over one version of the definitions."""

    def __init__(
        self, assessments: Assessments, case: Case, now: datetime, texts: Texts, queue: Queue | None = None
    ) -> None:
        self.assessments, self.case, self.now, self.texts, self.queue = assessments, case, now, texts, queue
        self.definitions = assessments.definitions
        self.job = Job.of(case)
        self.conversation = Conversation.from_mapping(case.conversation)
        self.family = self.definitions.families[self.conversation.family]
        self.shop = self.definitions.pricing.shop
        self.day = local_day(self.definitions, now).date()

    def packing(self) -> PackingSheet:
        """The packing sheet as codes and numbers."""
        estimate = current_estimate(self.case)
        return packing_sheet(
            self.definitions, self.family.id, self.conversation.answers, self.day,
            quote_expires=estimate.valid_until if estimate is not None else None, person_cleared=self.job.cleared, queue=self.queue,
        )  # fmt: skip

    def estimate(self) -> Sheet:
        """The written estimate. Raises: NotFoundError before there is one."""
        return estimate_sheet(
            self._estimate(), self.definitions, self.texts.locale, self.job.consent, figure="price"
        )

    def _estimate(self) -> Estimate:
        estimate = current_estimate(self.case)
        if estimate is None:
            raise NotFoundError("there is no estimate yet")
        return estimate

    def packing_document(self) -> Sheet:
        return packing_document(self.packing(), self.texts, reference=self.case.reference, shop=self.shop)

    def inside_slip(self) -> Sheet:
        return inside_slip(
            self.packing(), self.texts, reference=self.case.reference, shop=self.shop, sender=self.sender()
        )

    def sender(self) -> tuple[str, ...]:
        """The customer's name and address as far as known."""
        said = partial(value_for, self.family, self.conversation.answers)
        lines = [
            str(said("name") or ""),
            *str(said("address") or "").splitlines(),
            str(said("postcode") or ""),
        ]
        return tuple(line for line in lines if line.strip())

    def label(self, url: str) -> Label | None:
        """The label; None while something stands in its way."""
        return label_for(
            self.packing(),
            self.texts,
            reference=self.case.reference,
            shop=self.shop,
            sender=self.sender(),
            url=url,
        )

    def ship_by(self) -> date | None:
        return self.packing().ship_by

    def intake_form(self, personal: bool = True) -> Sheet:
        quotes = {fact: entry.quote for fact, entry in self.conversation.facts.items() if entry.quote}
        derived = {fact for fact, entry in self.conversation.facts.items() if entry.source == "derived"}
        unpicked = {fact for fact, entry in self.conversation.facts.items() if entry.is_unpicked}
        return intake_sheet(
            self.family, self.conversation.answers, self.texts, reference=self.case.reference, country=self.shop.country,
            currency=self.definitions.pricing.rate_card_on(self.day).currency, quotes=quotes, derived=derived, unpicked=unpicked,
            personal=personal,
        )  # fmt: skip

    def pretriage(self) -> Sheet:
        return pretriage_sheet(
            pretriage(self.assessments, self.case, self.now, self.texts).notes,
            self.texts,
            reference=self.case.reference,
        )

    # ---- pictures

    @property
    def money(self) -> Callable[[Decimal], str]:
        currency = self.definitions.pricing.rate_card_on(self.day).currency
        return lambda amount: format_money(
            Money(amount.quantize(Decimal("0.01")), currency), self.texts.locale
        )

    def price_picture(self) -> Picture:
        estimate = self._estimate()
        limit = estimate.case.spending_limit
        return price_picture(
            p10=estimate.p10.amount, p50=estimate.p50.amount, p90=estimate.p90.amount, maximum=estimate.maximum.amount,
            labels=price_labels(self.texts), money=self.money, limit=limit,
        )  # fmt: skip

    def ladder_picture(self) -> Picture:
        found = pretriage(self.assessments, self.case, self.now, self.texts)
        maximum = (
            self.job.consent.authorised.amount
            if self.job.consent and self.job.consent.state == "accepted"
            else None
        )
        return ladder_picture(found.notes.rungs, ladder_labels(self.texts), self.money, maximum)

    def chances_picture(self) -> Picture:
        found = pretriage(self.assessments, self.case, self.now, self.texts)
        rows = [(cause.name, cause.chance, cause.said) for cause in found.notes.causes]
        return chances_picture(rows, title=self.texts.say("documents.chances.title"))

    def box_picture(self) -> Picture | None:
        return packing_picture(self.packing(), self.texts, self.shop)

    # ---- the bench's papers

    def bench_record(self, names: Mapping[str, str]) -> Sheet:
        """names: people of the shop by how the log names them."""
        record = BenchRecord(
            device=self._device(), arrival=self._arrival_rows(), differences=self._differences(),
            steps=tuple(StepLine(plan_name(self.texts, e.step), self.texts.say("workshop.minutes", minutes=f"{e.minutes:g}"),
                                 self.texts.say(f"workshop.result.{e.result}"),
                                 ", ".join(self.texts.say(f"fact.{fact}") for fact in sorted(e.seen)), self._who(e.by, names))
                        for e in self.job.entries),
            parts=self._parts(), acceptance=self._acceptance(), ending=self._ending(),
            custody=tuple((self._day(str(e["at"])), self._who(str(e["actor"]), names), self.texts.say(f"workshop.custody.{e['holder']}", item=self._item(str(e["item"]))))
                          for e in self.job.custody),
        )  # fmt: skip
        return bench_record_sheet(record, self.texts, reference=self.case.reference)

    def return_note(self) -> Sheet:
        """Raises: NotFoundError before the outcome is written."""
        if self.job.outcome is None:
            raise NotFoundError("the job is not finished yet")
        contents = (
            tuple(self.job.returned["contents"])
            if self.job.returned
            else box_contents(self.packing(), self.texts)
        )
        note = ReturnNote(
            device=self._device(), repaired=self.job.outcome["ending"] == "fixed",
            done=tuple(self.texts.say(f"step.{e.step.partition('#')[0]}.customer") for e in self.job.entries if e.result != "could_not"),
            parts=self._parts(), tests=self._acceptance(), contents=contents, summary=self._ending(),
            cautions=tuple(self.texts.say(f"caution.{c.id}.customer") for c in shown_cautions(self.family, self.conversation.answers)
                           if c.severity == "stop" and self.texts.has(f"caution.{c.id}.customer")),
        )  # fmt: skip
        return return_note_sheet(note, self.texts, reference=self.case.reference)

    def _device(self) -> str:
        kind = value_for(self.family, self.conversation.answers, "device_kind")
        return (
            self.texts.say(f"device.{kind}")
            if isinstance(kind, str)
            else self.texts.say("workshop.pretriage.device_unknown")
        )

    def _parts(self) -> tuple[str, ...]:
        used = [
            part
            for e in self.job.entries
            if e.result != "could_not"
            for part in self.family.steps[e.step.partition("#")[0]].parts
        ]
        return tuple(self.texts.say(f"spare.{part}") for part in used)

    def _acceptance(self) -> tuple[tuple[str, str], ...]:
        tests = acceptance(self.assessments, self.case, self.texts)
        return tuple(
            (test.label, self.texts.say(f"workshop.tested.{test.result or 'open'}")) for test in tests
        )

    def _arrival_rows(self) -> tuple[tuple[str, str], ...]:
        arrival = self.job.arrival
        if arrival is None:
            return ()
        values = (("weight", f"{arrival['weight_kg']} kg" if arrival["weight_kg"] else ""), ("screws", str(arrival["screws"] or "")),
                  ("seals", self.texts.say(f"workshop.seals.{arrival['seals']}") if arrival["seals"] else ""),
                  ("evidence", ", ".join(self.texts.say(f"workshop.evidence.{sign}") for sign in arrival["earlier_repair"])),
                  ("notes", arrival["notes"]))  # fmt: skip
        rows = [(self.texts.say("workshop.arrival.at"), self._day(arrival["at"]))]
        return (
            *rows,
            *((self.texts.say(f"workshop.arrival.{name}"), value) for name, value in values if value),
        )

    def _differences(self) -> tuple[str, ...]:
        arrival = self.job.arrival
        if arrival is None:
            return ()
        light = (self.texts.say("workshop.found.light"),) if arrival["light"] else ()
        found = tuple(
            self.texts.say(f"workshop.found.{state}", item=self._item(item))
            for item, state in arrival["found"].items()
            if state != "here"
        )
        return (*light, *found)

    def _item(self, item: str) -> str:
        if item == DEVICE:
            return self._device()
        key = f"enclose.{item}"
        return self.texts.say(key) if self.texts.has(key) else self.texts.say("workshop.custody.the_disc")

    def _ending(self) -> tuple[tuple[str, str], ...]:
        outcome = self.job.outcome
        if outcome is None:
            return ()
        total = format_money(Money(Decimal(outcome["total"]), outcome["currency"]), self.texts.locale)
        causes = ", ".join(self.texts.say(f"fault.{cause}.customer") for cause in outcome["causes"])
        rows = [(self.texts.say("workshop.ending.how"), self.texts.say(f"workshop.ending.{outcome['ending']}")),
                (self.texts.say("workshop.ending.cause"), causes), (self.texts.say("workshop.ending.total"), total)]  # fmt: skip
        if self.job.returned and self.job.returned["tracking"]:
            rows.append((self.texts.say("workshop.ending.tracking"), self.job.returned["tracking"]))
        return tuple(rows)

    def _day(self, moment: str) -> str:
        return day_month_year(datetime.fromisoformat(moment).date(), self.texts.locale)

    def _who(self, actor: str, names: Mapping[str, str]) -> str:
        """A person's name; else the customer, or just the shop. Never an id."""
        key = "customer" if actor == "customer" else "shop"
        return names.get(actor) or self.texts.say(f"workshop.who.{key}")
