"""Facts from numbers, sums, dates and contact details: by the role of the fact, and for the fact that was asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact
from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import AmountMention, CountMention, DateMention, HeardFact, Source, Span
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.matching import Mark
from intakebot.understanding.quantities import Number, in_years
from intakebot.understanding.scope import Scopes
from intakebot.understanding.tokens import HARD, Token

AGE_REACH = 6
OLDEST = 60


@dataclass(frozen=True)
class Mentions:
    """Everything of these kinds that the message holds."""

    numbers: Sequence[Number]
    amounts: Sequence[AmountMention]
    counts: Sequence[CountMention]
    dates: Sequence[DateMention]
    emails: Sequence[tuple[str, Span]]
    phones: Sequence[tuple[str, Span]]


class RoleFacts:
    """Reads role facts from one message."""

    def __init__(
        self, folded: Folded, tokens: Sequence[Token], scopes: Scopes, marks: Sequence[Mark], lexicon: Lexicon,
        mentions: Mentions, today: date | None, expected: Fact | None,
    ) -> None:  # fmt: skip
        self.folded, self.tokens, self.scopes, self.marks = folded, tokens, scopes, marks
        self.lexicon, self.mentions, self.today, self.expected = lexicon, mentions, today, expected

    def read(self) -> list[HeardFact]:
        """Volunteered facts first, then the one that was asked for."""
        out: list[HeardFact] = []
        asked = self.expected.id if self.expected else None
        out.extend(
            fact
            for fact in (*self._amounts(), *self._ages(), *self._parts(), *self._days(), *self._contacts())
            if fact.fact != asked
        )
        if self.expected is not None:
            answer = self._asked(self.expected)
            if answer is not None:
                out.append(answer)
        return out

    def _heard(
        self, fact: Fact, value: Value | None, certainty: float, span: Span, source: Source
    ) -> HeardFact:
        hedge = self._hedge_at(span)
        quote = self.folded.original[span[0] : span[1]]
        return HeardFact(fact.id, value, round(certainty * hedge, 3), span, quote, False, source)

    def _hedge_at(self, span: Span) -> float:
        for index, token in enumerate(self.tokens):
            if self.folded.span(token.start, token.end)[0] >= span[0]:
                return self.scopes.hedge[index]
        return 1.0

    def _amounts(self) -> list[HeardFact]:
        out: list[HeardFact] = []
        limit, worth = self.lexicon.role("spending_limit"), self.lexicon.role("device_value")
        for mention in sorted(self.mentions.amounts, key=lambda m: m.currency is not None):
            if mention.is_limit and limit is not None and _allowed(limit, mention.amount):
                out.append(self._heard(limit, mention.amount, 0.9, mention.span, "amount"))
            elif (
                worth is not None and self._near("worth", mention.span, 6) and _allowed(worth, mention.amount)
            ):
                out.append(self._heard(worth, mention.amount, 0.8, mention.span, "amount"))
        out.sort(key=lambda heard: heard.span[0])
        return out

    def _near(self, kind: str, span: Span, reach: int) -> bool:
        at = self._token_at(span)
        sentence = self.scopes.sentence_of[at] if at < len(self.tokens) else -1
        return any(
            mark.kind == kind
            and abs(mark.start - at) <= reach + (mark.end - mark.start)
            and self.scopes.sentence_of[mark.start] == sentence
            for mark in self.marks
        )

    def _token_at(self, span: Span) -> int:
        for index, token in enumerate(self.tokens):
            if self.folded.span(token.start, token.end)[1] > span[0]:
                return index
        return len(self.tokens)

    def _ages(self) -> list[HeardFact]:
        fact = self.lexicon.role("age_years")
        if fact is None:
            return []
        people = {mark.start for mark in self.marks if mark.kind in ("who.friend", "young")}
        for number in self.mentions.numbers:
            unit_at = number.end
            unit = (
                self.lexicon.language.units.get(self.tokens[unit_at].word)
                if unit_at < len(self.tokens)
                else None
            )
            span = self.folded.span(
                self.tokens[number.start].start, self.tokens[min(unit_at, len(self.tokens) - 1)].end
            )
            if unit is not None:
                years = in_years(number.value, unit) if unit in ("years", "months", "decades") else None
                if years is None or years > OLDEST or unit_at + 2 in people or unit_at + 1 in people:
                    continue
                if self._age_cue(number.start, unit_at + 1):
                    return [self._heard(fact, _whole(years), 0.85, span, "count")]
            elif self._is_year(number) and self._age_cue(number.start, number.end):
                span = self.folded.span(self.tokens[number.start].start, self.tokens[number.end - 1].end)
                age = (self.today.year if self.today else 0) - int(number.value)
                return [self._heard(fact, max(age, 0), 0.85, span, "count")]
        return []

    def _is_year(self, number: Number) -> bool:
        return (
            self.today is not None
            and number.written
            and self.tokens[number.start].word.isdecimal()
            and len(self.tokens[number.start].word) == 4
            and self.today.year - OLDEST <= int(number.value) <= self.today.year
        )

    def _age_cue(self, start: int, end: int) -> bool:
        sentence = self.scopes.sentence_of[start]
        for mark in self.marks:
            if mark.kind != "age" or self.scopes.sentence_of[mark.start] != sentence:
                continue
            if 0 <= start - mark.end <= AGE_REACH or 0 <= mark.start - end <= 1:
                return True
        return False

    def _parts(self) -> list[HeardFact]:
        out: list[HeardFact] = []
        for fact in self.lexicon.facts_by_role.get("part_candidates", ()):
            stem = self.lexicon.language.stem(fact.unit or "")
            for number in self.mentions.numbers:
                stop = min(number.end + 3, len(self.tokens))
                for index in range(number.end, stop):
                    if (
                        self.tokens[index].stem == stem
                        and number.value == number.value.to_integral_value()
                        and number.value < 50
                        and number.value > 1
                    ):
                        span = self.folded.span(self.tokens[number.start].start, self.tokens[index].end)
                        out.append(self._heard(fact, int(number.value), 0.75, span, "count"))
                        break
        return out[:1]

    def _days(self) -> list[HeardFact]:
        fact = self.lexicon.role("deadline")
        due = [mention for mention in self.mentions.dates if mention.is_deadline]
        return [self._heard(fact, due[-1].day, 0.8, due[-1].span, "date")] if fact and due else []

    def _contacts(self) -> list[HeardFact]:
        out: list[HeardFact] = []
        email, phone = self.lexicon.role("email"), self.lexicon.role("phone")
        if email is not None and self.mentions.emails:
            out.append(
                self._heard(email, self.mentions.emails[-1][0], 0.95, self.mentions.emails[-1][1], "contact")
            )
        if phone is not None and self.mentions.phones:
            out.append(
                self._heard(phone, self.mentions.phones[-1][0], 0.9, self.mentions.phones[-1][1], "contact")
            )
        return out

    def _asked(self, fact: Fact) -> HeardFact | None:
        """The value of the fact that was asked for, from whatever of its type the message holds."""
        if fact.type == "amount":
            return self._asked_amount(fact)
        if fact.type == "count":
            return self._asked_count(fact)
        if fact.type == "date" and self.mentions.dates:
            mention = self.mentions.dates[-1]
            return self._heard(fact, mention.day, 0.95, mention.span, "date")
        if fact.role == "email" and self.mentions.emails:
            return self._heard(fact, self.mentions.emails[-1][0], 1.0, self.mentions.emails[-1][1], "contact")
        if fact.role == "phone" and self.mentions.phones:
            return self._heard(fact, self.mentions.phones[-1][0], 1.0, self.mentions.phones[-1][1], "contact")
        return None

    def _asked_amount(self, fact: Fact) -> HeardFact | None:
        named = [m for m in self.mentions.amounts if _allowed(fact, m.amount)]
        if named:
            return self._heard(fact, named[-1].amount, 0.97, named[-1].span, "answer")
        plain = [n for n in self.mentions.numbers if _allowed(fact, n.value) and self._bare(n)]
        if not plain:
            return None
        last = plain[-1]
        return self._heard(fact, last.value, 0.95, self._span(last), "answer")

    def _asked_count(self, fact: Fact) -> HeardFact | None:
        pauses = [mark for mark in self.marks if mark.kind == "pause"]
        for number in self.mentions.numbers:
            if any(mark.start <= number.start < mark.end for mark in pauses):
                continue  # "one moment please" counts nothing
            value = number.value
            unit = (
                self.lexicon.language.units.get(self.tokens[number.end].word)
                if number.end < len(self.tokens)
                else None
            )
            if fact.role == "age_years":
                if self._is_year(number) and unit is None:
                    value = Decimal((self.today.year if self.today else 0) - int(number.value))
                elif unit is not None:
                    years = in_years(value, unit)
                    if years is None:
                        continue
                    value = years
            elif unit is not None:
                continue
            if _allowed(fact, value):
                return self._heard(fact, _whole(value), 0.95, self._span(number), "answer")
        return None

    def _bare(self, number: Number) -> bool:
        return (
            number.end >= len(self.tokens) or self.tokens[number.end].word not in self.lexicon.language.units
        )

    def _span(self, number: Number) -> Span:
        return self.folded.span(self.tokens[number.start].start, self.tokens[number.end - 1].end)


def _whole(value: Decimal) -> int:
    return int(value.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def _allowed(fact: Fact, value: Decimal) -> bool:
    return (fact.minimum is None or value >= fact.minimum) and (fact.maximum is None or value <= fact.maximum)


_SHORT_TEXTS = ("model_name", "serial", "name", "address", "postcode", "stuck_disc_title")


def text_answer(
    folded: Folded, tokens: Sequence[Token], marks: Sequence[Mark], fact: Fact, used: frozenset[int]
) -> HeardFact | None:
    """The whole message, without a lead-in ("my name is"), as the answer to a question for text.

    A message that is mostly facts of other kinds is not taken for a name, a model or an address.
    """
    words = [index for index, token in enumerate(tokens) if token.is_word]
    if not words:
        return None
    lead = max(
        (m.end for m in marks if m.kind == "lead_in" and m.start <= 1 and m.end < len(tokens)), default=0
    )
    if (
        fact.role in _SHORT_TEXTS
        and lead == 0
        and len(words) >= 4
        and 2 * len(used & set(words)) > len(words)
    ):
        return None
    last = len(tokens)
    while last > lead + 1 and tokens[last - 1].word in HARD:
        last -= 1
    span = folded.span(tokens[lead].start, tokens[last - 1].end)
    value = " ".join(folded.original[span[0] : span[1]].split())[: fact.max_length]
    if not value:
        return None
    return HeardFact(fact.id, value, 0.95, span, folded.original[span[0] : span[1]], False, "answer")
