"""Meaning pass: one small function per rule. Each yields problems; none stops at the first.

Rules look at the records whose shape was right; ids of broken records still count as known, so that one fault is
reported once. `RULES_OF_FAMILY` and `RULES_OF_PRICING` list them; tests/broken/ has one folder for each.
"""

from __future__ import annotations

from collections.abc import Callable

from intakebot.definitions import answers
from intakebot.definitions import rules_of_families as families
from intakebot.definitions import rules_of_pricing as pricing
from intakebot.definitions import rules_shared as shared
from intakebot.definitions.problems import Problem
from intakebot.definitions.rules_shared import Problems
from intakebot.definitions.source import Folder, Source
from intakebot.definitions.texts import PLACEHOLDER


def meaning_problems(source: Source) -> list[Problem]:
    """Every problem of meaning in a source. A folder with a file that cannot be read is left out: its rules would only
    repeat that something is missing."""
    problems: list[Problem] = []
    shared_unread = bool(source.unread & {"pricing", "common"})
    for folder in source.families.values():
        if folder.name not in source.unread and not shared_unread:
            for rule in RULES_OF_FAMILY:
                problems.extend(rule(folder, source))
    if not source.unread:
        for rule in RULES_OF_PRICING:
            problems.extend(rule(source.pricing, source))
        problems.extend(_locales_match(source))
    return problems


def _locales_match(source: Source) -> Problems:
    """Every locale has the same keys with the same placeholders, in every folder."""
    for folder in (source.common, *source.families.values()):
        keys = {key for texts in folder.texts.values() for key in texts}
        for key in sorted(keys):
            holders = {locale: texts[key] for locale, texts in folder.texts.items() if key in texts}
            document, path = folder.text_places[(min(holders), key)]
            for locale in sorted(set(source.common.texts) - set(holders)):
                yield Problem(
                    document.file,
                    document.line(path),
                    f"text {key}",
                    f"no text in {locale}",
                    "a text in every locale",
                )
            names = {
                locale: frozenset(PLACEHOLDER.findall(" ".join(_wordings(text))))
                for locale, text in holders.items()
            }
            if len(set(names.values())) > 1:
                found = "; ".join(
                    f"{locale}: {', '.join(sorted(names[locale])) or 'none'}" for locale in sorted(names)
                )
                yield Problem(
                    document.file,
                    document.line(path),
                    f"text {key}",
                    f"placeholders {found}",
                    "the same in every locale",
                )


def _wordings(text: str | tuple[str, ...]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else text


Rule = Callable[[Folder, Source], Problems]
SHARED_RULES: tuple[Rule, ...] = (
    shared.required_records,
    shared.one_only,
    shared.unique_ids,
    shared.sources_named,
)
RULES_OF_FAMILY: tuple[Rule, ...] = (
    *SHARED_RULES, families.conditions_name_facts, families.references_exist, families.facts_complete, families.every_fact_reachable, families.choices_fit, families.checklists_fit,
    families.no_waiting_in_circles, families.findings_complete, families.bench_findings_seen, families.faults_repairable, families.faults_separable,
    families.levels_form_a_tree, families.steps_in_order, families.paired_parts_complete, families.phrases_fit, families.examples_fit,
    answers.answers_fit, families.texts_present,
)  # fmt: skip
RULES_OF_PRICING: tuple[Rule, ...] = (
    *SHARED_RULES, pricing.dates_do_not_overlap, pricing.one_currency, pricing.rate_cards_fit, pricing.profiles_keep_the_law, pricing.tariffs_complete,
    pricing.parcels_fit, pricing.chance_words_cover, pricing.calendar_makes_sense,
)  # fmt: skip
