"""Pictures and the label from the case's own objects, with their words."""

from __future__ import annotations

from collections.abc import Sequence

from intakebot.definitions.model import Shop
from intakebot.definitions.texts import Texts
from intakebot.documents.box_picture import BoxLabels, box_picture
from intakebot.documents.label import Label
from intakebot.documents.ladder import LadderLabels
from intakebot.documents.pictures import Picture
from intakebot.documents.price_picture import PriceLabels
from intakebot.packing.parcel import ParcelPlan
from intakebot.packing.sheet import PackingSheet
from intakebot.packing.wording import centimetres, day_in_words, locale_in, sides


def packing_picture(sheet: PackingSheet, texts: Texts, shop: Shop) -> Picture | None:
    """The box cut open, for the section with the figure `box`; None without a fitting box."""
    plan = sheet.parcel
    if not isinstance(plan, ParcelPlan):
        return None
    locale = locale_in(texts.locale, shop.country)
    second = plan.outer_box.inner_mm if plan.outer_box else None
    labels = BoxLabels(
        title=texts.say("documents.box.title"),
        device=texts.say("documents.box.device", sides=sides(plan.stands_mm, locale)),
        padding=texts.say("documents.box.padding", cm=centimetres(plan.cushion.thickness_mm, locale)),
        inner_width=texts.say("documents.box.wide", cm=centimetres(plan.box.inner_mm[0], locale)),
        inner_height=texts.say("documents.box.high", cm=centimetres(plan.box.inner_mm[2], locale)),
        second=texts.say("documents.box.second", sides=sides(second, locale)) if second else "",
    )
    return box_picture(plan.box.inner_mm, plan.stands_mm, labels, second)


def label_for(
    sheet: PackingSheet,
    texts: Texts,
    *,
    reference: str,
    shop: Shop,
    sender: Sequence[str],
    url: str,
) -> Label | None:
    """The label, or None while something stands in its way (a stop sign, an open pairing question, a battery).

    Args:
        url: what the QR code opens, for signed-in people only.
    """
    if not sheet.label_allowed:
        return None
    marks = []
    if sheet.stuck_disc is not None:
        marks.append(texts.say("documents.label.up"))
    if sheet.lithium.status == "mark":
        marks.append(texts.say("documents.label.battery", un=sheet.lithium.un))
    if sheet.dates.ship_by is not None:
        day = day_in_words(sheet.dates.ship_by, locale_in(texts.locale, shop.country))
        marks.append(texts.say("documents.label.ship_by", day=day))
    return Label(
        reference=reference,
        to_title=texts.say("documents.label.to"),
        to=(shop.name, *shop.address),
        from_title=texts.say("documents.label.from"),
        sender=tuple(sender),
        url=url,
        marks=tuple(marks),
        cut=texts.say("documents.label.cut"),
        locale=texts.locale,
    )


def price_labels(texts: Texts) -> PriceLabels:
    """Words of the price picture."""
    return PriceLabels(
        *(texts.say(f"documents.price.{name}") for name in ("title", "usual", "middle", "most", "limit"))
    )


def ladder_labels(texts: Texts) -> LadderLabels:
    """Words of the ladder."""
    names = ("title", "chance", "money", "minutes", "test", "beyond", "nothing")
    return LadderLabels(*(texts.say(f"documents.ladder.{name}") for name in names))
