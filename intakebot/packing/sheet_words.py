"""The packing sheet in words: one `Sheet` for the page, the PDF and plain text. Also the slip that goes in the box."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from intakebot.definitions.model import Shop
from intakebot.definitions.texts import Texts
from intakebot.packing.bench_queue import Turnaround
from intakebot.packing.billable import NotCarried, Postage
from intakebot.packing.cautions import ShownCaution
from intakebot.packing.parcel import ParcelPlan
from intakebot.packing.sheet import PackingSheet, PackItem
from intakebot.packing.wording import centimetres, day_in_words, kilograms, locale_in, sides
from intakebot.quoting.money import Money, format_money
from intakebot.sheets import Section, Sheet, Tone


def packing_document(sheet: PackingSheet, texts: Texts, *, reference: str, shop: Shop) -> Sheet:
    """The customer's packing sheet.

    While there is no label, what stands in its way comes first, and nothing on the sheet invites to send it: with a stop
    sign or a lost original part no packing at all is described, while a part is still elsewhere only what belongs in the box.
    """
    locale = locale_in(texts.locale, shop.country)
    stopped = "stop" in sheet.label_blocks or "pairing_cannot" in sheet.label_blocks
    sections = (
        *_blocks(sheet, texts),
        *(() if stopped else (_put_in(sheet, texts), _leave_out(sheet, texts))),
        _stuck_disc(sheet, texts),
        _pairing(sheet, texts),
        *_general(sheet, texts),
        *(_sending(sheet, texts, locale, reference, shop) if sheet.label_allowed else ()),
    )
    return Sheet(
        id="packing",
        title=texts.say("packing.title"),
        subtitle=texts.say(
            "packing.subtitle" if sheet.label_allowed else "packing.subtitle_wait",
            device=_device(sheet, texts),
        ),
        reference=reference,
        locale=texts.locale,
        sections=tuple(section for section in sections if not section.is_empty),
        footer=texts.say("packing.footer"),
    )


def inside_slip(
    sheet: PackingSheet, texts: Texts, *, reference: str, shop: Shop, sender: Sequence[str]
) -> Sheet:
    """A slip to lay on top inside the box: if the label is lost, the box still finds its way, and back."""
    return Sheet(
        id="slip",
        title=texts.say("packing.slip.title"),
        reference=reference,
        locale=texts.locale,
        sections=(
            Section("to", texts.say("packing.slip.to"), paragraphs=(shop.name, *shop.address)),
            Section("from", texts.say("packing.slip.from"), paragraphs=tuple(sender)),
            Section("contents", texts.say("packing.slip.contents"), items=contents(sheet, texts), ticks=True),
        ),
        footer=texts.say("packing.slip.footer"),
    )


def contents(sheet: PackingSheet, texts: Texts) -> tuple[str, ...]:
    """What travels, by name: the device, original parts, the rest, and the disc stuck inside. The same on the way back."""
    items = (_device(sheet, texts), *(texts.say(f"enclose.{item.id}") for item in sheet.enclosures))
    if sheet.stuck_disc is None:
        return items
    return (*items, texts.say("packing.slip.disc_inside", disc=_disc_name(sheet, texts)))


def _sending(
    sheet: PackingSheet, texts: Texts, locale: str, reference: str, shop: Shop
) -> tuple[Section, ...]:
    """Everything that only matters once the box may travel."""
    return (
        _dates(sheet, texts, locale),
        _box(sheet, texts, locale),
        _closing(sheet, texts),
        _battery(sheet, texts),
        _photos(sheet, texts),
        _postage(sheet, texts, locale),
        _address(texts, reference, shop),
    )


def caution_texts(ids: Iterable[str], texts: Texts) -> tuple[str, ...]:
    """What customers read for these cautions; a caution without a customer text says nothing."""
    return tuple(
        texts.say(f"caution.{caution}.customer")
        for caution in ids
        if texts.has(f"caution.{caution}.customer")
    )


def _blocks(sheet: PackingSheet, texts: Texts) -> tuple[Section, ...]:
    if sheet.label_allowed:
        return ()
    paragraphs: list[str] = []
    if "stop" in sheet.label_blocks:
        paragraphs += caution_texts(sheet.stops, texts) or [texts.say("packing.block.stop")]
    for part in sheet.gate.parts:
        if f"pairing_{part.decision}" in sheet.label_blocks and part.decision in ("hold", "cannot"):
            name = texts.say(f"paired.{part.part}")
            paragraphs.append(texts.say(f"packing.block.pairing_{part.decision}", part=name))
    if "lithium" in sheet.label_blocks:
        paragraphs.append(texts.say(f"packing.block.lithium_{sheet.lithium.status}"))
    paragraphs.append(texts.say("packing.block.next"))
    return (Section("stop", texts.say("packing.block.title"), tone="stop", paragraphs=tuple(paragraphs)),)


def _put_in(sheet: PackingSheet, texts: Texts) -> Section:
    items = (_device(sheet, texts), *(_item_line(item, "enclose", texts) for item in sheet.enclosures))
    originals = any(item.original_part for item in sheet.enclosures)
    return Section(
        "put_in",
        texts.say("packing.put_in.title"),
        paragraphs=(texts.say("packing.put_in.originals"),) if originals else (),
        items=(*items, texts.say("packing.put_in.slip")),
        ticks=True,
    )


def _leave_out(sheet: PackingSheet, texts: Texts) -> Section:
    items = tuple(_item_line(item, "leave_out", texts) for item in sheet.leave_outs)
    return Section("leave_out", texts.say("packing.leave_out.title"), items=items)


def _item_line(item: PackItem, kind: str, texts: Texts) -> str:
    """Name, mark of an original part, and how to protect it: by its own cautions, else by the kind of protection."""
    name = _sentence(texts.say(f"{kind}.{item.id}"))
    if item.original_part:
        name = texts.say("packing.put_in.original", part=name)
    how = list(caution_texts(item.cautions, texts))
    if not how and item.protection != "none":
        how = [texts.say(f"packing.protection.{item.protection}")]
    return " ".join((name, *how))


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?", ":")) else f"{text}."


def _stuck_disc(sheet: PackingSheet, texts: Texts) -> Section:
    disc = sheet.stuck_disc
    if disc is None:
        return Section("stuck_disc", "")
    rows = [(texts.say("packing.disc.kind"), _disc_class(sheet, texts))]
    if disc.title:
        rows.append((texts.say("packing.disc.name"), disc.title))
    if disc.wanted is not None:
        answer = texts.say("packing.disc.back_yes" if disc.wanted else "packing.disc.back_no")
        rows.append((texts.say("packing.disc.back"), answer))
    return Section(
        "stuck_disc",
        texts.say("packing.disc.title"),
        tone="warning",
        paragraphs=(texts.say("packing.disc.leave"), *caution_texts(sheet.cautions_for("stuck_disc"), texts)),
        rows=tuple(rows),
    )


def _pairing(sheet: PackingSheet, texts: Texts) -> Section:
    """What the customer should know while an original part is in doubt; holds are said at the top."""
    paragraphs = []
    for part in sheet.gate.parts:
        name = texts.say(f"paired.{part.part}")
        if part.decision == "doubt":
            paragraphs.append(texts.say("packing.pairing.doubt", part=name))
        if part.worst_trials > 1:
            paragraphs.append(texts.say("packing.pairing.trials", part=name, count=part.worst_trials))
    return Section("pairing", texts.say("packing.pairing.title"), tone="note", paragraphs=tuple(paragraphs))


def _general(sheet: PackingSheet, texts: Texts) -> tuple[Section, ...]:
    """Warnings, then notes. Stop signs are said at the top while they stand, and here once a person cleared them."""
    return (
        _caution_section("warning", [c for c in sheet.general_cautions if c.severity == "warning"], texts),
        _caution_section("note", [c for c in sheet.general_cautions if c.severity == "note"], texts),
        *(_cleared(sheet, texts)),
    )


def _cleared(sheet: PackingSheet, texts: Texts) -> tuple[Section, ...]:
    if not sheet.stops or "stop" in sheet.label_blocks:
        return ()
    paragraphs = (texts.say("packing.cleared.text"), *caution_texts(sheet.stops, texts))
    return (Section("cleared", texts.say("packing.cleared.title"), tone="warning", paragraphs=paragraphs),)


def _caution_section(tone: Tone, cautions: list[ShownCaution], texts: Texts) -> Section:
    said = caution_texts((caution.id for caution in cautions), texts)
    return Section(f"cautions_{tone}", texts.say(f"packing.cautions.{tone}"), tone=tone, items=said)


def _box(sheet: PackingSheet, texts: Texts, locale: str) -> Section:
    parcel = sheet.parcel
    title = texts.say("packing.box.title")
    if parcel is None:
        return Section("box", title, paragraphs=(texts.say("packing.box.not_known"),))
    cushion = parcel.cushion
    around = texts.say("packing.box.cm", value=centimetres(cushion.thickness_mm, locale))
    why = texts.say(
        "packing.box.why",
        kg=kilograms(parcel.gross_kg, locale),
        drop=centimetres(cushion.drop_mm, locale),
        cushion=centimetres(cushion.thickness_mm, locale),
        g=f"{cushion.fragility_g:g}",
    )
    rows = [(texts.say("packing.box.cushion"), around)]
    if not isinstance(parcel, ParcelPlan):
        needed = texts.say("packing.box.cm", value=sides(parcel.needed_inner_mm, locale))
        rows.insert(0, (texts.say("packing.box.inner_least"), needed))
        return Section(
            "box", title, paragraphs=(texts.say("packing.box.own"),), rows=tuple(rows), notes=(why,)
        )
    inner = texts.say("packing.box.cm", value=sides(parcel.box.inner_mm, locale))
    rows.insert(0, (texts.say("packing.box.inner"), inner))
    if parcel.outer_box is not None:
        outer = texts.say("packing.box.cm", value=sides(parcel.outer_box.inner_mm, locale))
        rows.append((texts.say("packing.box.second"), outer))
    padding = texts.say("packing.box.litres", value=round(parcel.padding_litres))
    gross = texts.say("packing.box.kg", value=kilograms(parcel.gross_kg, locale))
    rows += [(texts.say("packing.box.padding"), padding), (texts.say("packing.box.weight"), gross)]
    notes = [why]
    if cushion.double_box:
        notes.append(texts.say("packing.box.double"))
        if parcel.outer_box is None:
            notes.append(texts.say("packing.box.double_own"))
    if {"weight", "size"} & set(sheet.assumed):
        notes.append(texts.say("packing.box.assumed"))
    load = kilograms(round(parcel.strength.working_kg), locale)
    notes.append(texts.say("packing.box.strength", kg=load))
    return Section("box", title, rows=tuple(rows), notes=tuple(notes), figure="box")


def _closing(sheet: PackingSheet, texts: Texts) -> Section:
    steps = ["sound_box", "old_labels", "pad", "level" if sheet.stuck_disc else None, "slip", "tape", "shake"]
    items = tuple(texts.say(f"packing.closing.{step}") for step in steps if step)
    cautions = caution_texts(sheet.cautions_for("ship"), texts)
    return Section(
        "closing", texts.say("packing.closing.title"), items=items, ticks=True, paragraphs=cautions
    )


def _battery(sheet: PackingSheet, texts: Texts) -> Section:
    rule = sheet.lithium
    title = texts.say("packing.lithium.title")
    if rule.status not in ("no_mark", "mark"):
        return Section("battery", title)
    paragraphs = [texts.say(f"packing.lithium.{rule.status}", un=rule.un)]
    paragraphs += [texts.say(f"packing.lithium.note.{note}") for note in rule.notes]
    if rule.charge_limit != "none":
        paragraphs.append(texts.say(f"packing.lithium.charge_{rule.charge_limit}"))
    return Section("battery", title, tone="note", paragraphs=tuple(paragraphs))


def _dates(sheet: PackingSheet, texts: Texts, locale: str) -> Section:
    dates = sheet.dates
    days = (
        ("ship_by", dates.ship_by),
        ("quote_expires", dates.quote_expires),
        ("arrives", dates.arrives),
        ("ready_by", dates.ready_by),
        ("back_by", dates.back_by),
        ("deadline", dates.deadline),
    )
    rows = tuple((texts.say(f"packing.dates.{name}"), day_in_words(day, locale)) for name, day in days if day)
    notes = [texts.say("packing.dates.example", day=day_in_words(dates.post_on, locale))]
    if isinstance(dates.promise, Turnaround):
        notes.append(texts.say("packing.dates.promise", percent=dates.promise.percentile))
    else:
        notes.append(texts.say(f"packing.dates.no_promise_{dates.promise.reason}"))
    if dates.too_late:
        notes.append(texts.say("packing.dates.too_late"))
    if dates.deadline_met is False:
        notes.append(texts.say("packing.dates.deadline_missed"))
    return Section("dates", texts.say("packing.dates.title"), rows=rows, notes=tuple(notes))


def _postage(sheet: PackingSheet, texts: Texts, locale: str) -> Section:
    fee = sheet.postage
    title = texts.say("packing.postage.title")
    if isinstance(fee, NotCarried):
        return Section("postage", title, paragraphs=(texts.say(f"packing.postage.{fee.reason}"),))
    if not isinstance(fee, Postage):
        return Section("postage", title)
    rows = (
        (texts.say("packing.postage.price"), format_money(Money(fee.price, fee.currency), locale)),
        (
            texts.say("packing.postage.billable"),
            texts.say("packing.box.kg", value=kilograms(float(fee.billable_kg), locale)),
        ),
        (
            texts.say("packing.postage.liability"),
            format_money(Money(fee.liability, fee.currency), locale),
        ),
    )
    why = texts.say("packing.postage.by_size" if fee.by_size else "packing.postage.by_weight")
    return Section("postage", title, rows=rows, notes=(why, texts.say("packing.postage.value")))


def _photos(sheet: PackingSheet, texts: Texts) -> Section:
    items = tuple(texts.say(f"packing.photo.{photo}") for photo in sheet.photos)
    return Section("photos", texts.say("packing.photos.title"), items=items, ticks=True)


def _address(texts: Texts, reference: str, shop: Shop) -> Section:
    lines = (shop.name, *shop.address)
    return Section(
        "address",
        texts.say("packing.address.title"),
        paragraphs=(*lines, texts.say("packing.address.reference", reference=reference)),
    )


def _device(sheet: PackingSheet, texts: Texts) -> str:
    return texts.say(f"device.{sheet.device}") if sheet.device else texts.say("packing.device_unknown")


def _disc_class(sheet: PackingSheet, texts: Texts) -> str:
    disc = sheet.stuck_disc
    key = f"disc.{disc.disc_class}" if disc and disc.disc_class else ""
    return texts.say(key) if key and texts.has(key) else texts.say("packing.disc.unknown_kind")


def _disc_name(sheet: PackingSheet, texts: Texts) -> str:
    disc = sheet.stuck_disc
    kind = _disc_class(sheet, texts)
    return f"{kind}, {disc.title}" if disc and disc.title else kind
