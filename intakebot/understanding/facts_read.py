"""From matched phrases to facts: denial, doubt, mood, person, disc classes, and one value a fact."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact
from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import HeardFact, Span
from intakebot.understanding.lexicon import Lexicon, Reading
from intakebot.understanding.matching import Lattice, Mark, Match, settle
from intakebot.understanding.phrase_grammar import DEFAULT_CERTAINTY
from intakebot.understanding.scope import PEOPLE, Scopes, negated, who_did, within
from intakebot.understanding.tokens import Token

_DENIALS = frozenset({"no", "none", "nobody"})
"""A phrase with such a value leaves its denying word free to deny more ("no smoke or burning smell")."""

ASKED = "asked"

SAME = "same"
"""A disc result that is the one named before ("DVDs do the same")."""

SOLE_DEVICE = 0.99
"""Certainty of the kind of device where a message names one kind: of 372 labelled messages that name a kind 369 were read
right, and the three others name two (tests/understanding/messages_frozen.jsonl and messages_blind.jsonl)."""
NEGATED_ATTEMPT_CERTAINTY = 0.75
"""'I have not opened it' says nothing sure about others."""


@dataclass(frozen=True)
class PhraseFacts:
    """matches: for each stated fact the match it was read from; support: how many wordings read that value."""

    facts: tuple[HeardFact, ...]
    ruled_out: tuple[HeardFact, ...]
    used: frozenset[int]
    matches: Mapping[str, Match] = field(default_factory=dict)
    support: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Found:
    """plural: the disc class was named in the plural ("CDs"), which is less often said of any disc.
    vague: no word for a disc, and none for every disc, stood in the phrase ("it won't read").
    """

    heard: HeardFact
    position: int
    match: Match
    ruled_out: bool = False
    plural: bool = False
    vague: bool = False


def read_phrases(
    folded: Folded, tokens: Sequence[Token], lattice: Lattice, scopes: Scopes, lexicon: Lexicon,
    known: Mapping[str, Value], expected: Fact | None = None,
) -> PhraseFacts:  # fmt: skip
    """Every fact the phrases state.

    expected: the fact that was just asked for; a disc class asked for is meant as that class.
    """
    everything = lattice.find()
    device_role = lexicon.role("device_kind")
    device_kinds = _device_kinds(everything, scopes, lexicon, known)
    said = _said(everything, scopes, lexicon, known, frozenset())
    said = _said(everything, scopes, lexicon, known, said)
    matches = settle(
        [m for m in everything if _condition_holds(m.reading, device_kinds, expected, said)],
        lexicon.independent,
    )
    spent = frozenset(
        index
        for match in matches
        if match.reading.value not in _DENIALS
        for index in match.used
        if tokens[index].word in lexicon.language.negators
        and scopes.clause_of[index] == scopes.clause_of[match.used[0]]
    )
    doubting = {
        index for mark in lattice.marks if mark.kind == "hedge" for index in range(mark.start, mark.end)
    }
    people = [mark for mark in lattice.marks if mark.kind in PEOPLE and mark.start not in doubting]
    passive = [mark for mark in lattice.marks if mark.kind in ("passive", "agent")]
    contrast = any(match.reading.kind == "contrast" and match.denied_at < 0 for match in matches)
    found: list[_Found] = []
    used: set[int] = set()
    discs = [mark for mark in lattice.marks if mark.kind.startswith("disc.")]
    over = [mark for mark in lattice.marks if mark.kind == "over"]
    reader = _Reader(folded, tokens, scopes, lexicon, people, passive, spent, known, discs, over)
    for match in matches:
        used.update(match.used)
        if match.reading.kind == "fact":
            found.extend(reader.fact(match))
        elif match.reading.kind == "disc_result":
            found.extend(reader.disc_result(match, found))
    found.extend(_caused(found, tokens, lattice.marks, scopes, lexicon))
    found = _everyday_classes(found, device_kinds, contrast, lexicon, expected, bool(known))
    correcting = [index for index, flag in enumerate(scopes.correction) if flag >= 0]
    facts = _one_value_each([f for f in found if not f.ruled_out], correcting, lexicon, device_role)
    facts = _drop_contradicted(_sure_of_device(facts, found, device_role), lexicon)
    held = {item.heard.fact for item in facts}
    ruled_out = {
        (f.heard.fact, f.heard.value): f.heard for f in found if f.ruled_out and f.heard.fact not in held
    }
    chosen = {item.heard.fact: item.match for item in facts}
    return PhraseFacts(
        tuple(item.heard for item in facts), tuple(ruled_out.values()), frozenset(used), chosen,
        _support(everything, chosen),
    )  # fmt: skip


def _support(matches: Sequence[Match], chosen: Mapping[str, Match]) -> dict[str, int]:
    """Fact -> how many wordings in the message read the value that was chosen for it; results of disc classes are left out."""
    found: dict[tuple[str, str], set[tuple[int, ...]]] = {}
    for match in matches:
        found.setdefault((match.reading.fact, match.reading.value), set()).add(match.used)
    return {
        fact: len(found[match.reading.fact, match.reading.value])
        for fact, match in chosen.items()
        if match.reading.kind == "fact"
    }


def _device_kinds(
    matches: Sequence[Match], scopes: Scopes, lexicon: Lexicon, known: Mapping[str, Value]
) -> frozenset[str]:
    """Kinds of the device in question: what is known, else what the message names, else the coarser kinds known
    (facts that a kind implies), else "?"."""
    fact = lexicon.role("device_kind")
    if fact is None:
        return frozenset({"?"})
    if fact.id in known:
        return frozenset({str(known[fact.id])})
    coarser = frozenset(str(known[rule.fact]) for rule in fact.implies if rule.fact in known)
    named = [
        m
        for m in settle([m for m in matches if m.reading.fact == fact.id])
        if not within(scopes.elsewhere, m)
    ]
    return frozenset({m.reading.value for m in named}) or coarser or frozenset({"?"})


def _said(
    matches: Sequence[Match], scopes: Scopes, lexicon: Lexicon, known: Mapping[str, Value],
    before: frozenset[str],
) -> frozenset[str]:  # fmt: skip
    """Ids and roles of facts that are known to be so, or that some wording of the message says plainly."""
    ids = {fact for fact, value in known.items() if value not in _DENIALS}
    for match in matches:
        reading = match.reading
        if reading.kind == "fact" and reading.value not in _DENIALS and not reading.devices:
            if reading.said and not reading.said & before:
                continue
            denying = scopes.negator[match.used[0]]
            if match.denied_at < 0 and (denying < 0 or denying in match.used):
                ids.add(reading.fact)
    facts = lexicon.family.facts
    return frozenset(ids | {facts[fact].role or fact for fact in ids if fact in facts})


def _condition_holds(
    reading: Reading, kinds: frozenset[str], expected: Fact | None, said: frozenset[str]
) -> bool:
    """`@asked`: only as an answer to a question for this fact. `@kind,...`: only on these device kinds. `@said:fact`: only
    when that is so."""
    if reading.said and not reading.said & said:
        return False
    if not reading.devices:
        return True
    if ASKED in reading.devices:
        return expected is not None and expected.id == reading.fact
    return bool(reading.devices & kinds)


class _Reader:
    """Turns one match at a time into facts."""

    def __init__(
        self, folded: Folded, tokens: Sequence[Token], scopes: Scopes, lexicon: Lexicon, people: Sequence[Mark],
        passive: Sequence[Mark], spent: frozenset[int], known: Mapping[str, Value],
        discs: Sequence[Mark], over: Sequence[Mark],
    ) -> None:  # fmt: skip
        self.over = over
        self.folded, self.tokens, self.scopes, self.lexicon = folded, tokens, scopes, lexicon
        self.people, self.passive, self.spent, self.known, self.discs = people, passive, spent, known, discs

    def span(self, match: Match) -> Span:
        return self.folded.span(self.tokens[match.used[0]].start, self.tokens[match.used[-1]].end)

    def fact(self, match: Match) -> list[_Found]:
        fact = self.lexicon.family.facts.get(match.reading.fact)
        if fact is None:
            return []
        if within(self.scopes.unsure, match):
            return [self._found(match, fact.id, None, 0.9, False)]
        if self._not_stated(match, fact):
            return []
        value = match.reading.value
        if fact.role == "attempt" and value not in _DENIALS and within(self.scopes.intention, match):
            return []
        denied = self._negated(match)
        if value in _DENIALS and not denied and self._governed(match):
            return []
        if fact.type == "text":
            return []
        if fact.role == "attempt":
            return self._attempt(match, fact, value, denied)
        if not denied:
            other = self.lexicon.hedged.get((fact.id, value))
            if other is not None and self._doubt(match) < 1:
                return [
                    self._found(match, fact.id, other, match.reading.certainty / self._doubt(match), False)
                ]
            found = self._found(match, fact.id, value, match.reading.certainty, False)
            vague = not match.discs and not self._universal(match)
            return [replace(found, vague=vague), *self._stuck_class(match, fact, value)]
        if fact.type == "yes_no":
            if value == "yes":
                return [self._found(match, fact.id, "no", match.reading.certainty, True)]
            return []
        return [replace(self._found(match, fact.id, value, match.reading.certainty, True), ruled_out=True)]

    def _universal(self, match: Match) -> bool:
        """True when the wording speaks of every disc ("reads nothing"): it says more than the failing class beside it."""
        every = self.lexicon.cues.get("universal", ())
        return any(self.tokens[index].word in every for index in match.used)

    def _stuck_class(self, match: Match, fact: Fact, value: str) -> list[_Found]:
        """The class of a disc that is stuck, when the phrase names it."""
        wanted = self.lexicon.role("stuck_disc_class")
        if fact.role != "stuck_disc" or value != "yes" or wanted is None:
            return []
        named = [option for option in wanted.options if option in match.discs]
        return [self._found(match, wanted.id, named[0], 0.85, False)] if len(named) == 1 else []

    def disc_result(self, match: Match, before: Sequence[_Found]) -> list[_Found]:
        if self._not_stated(match, None):
            return []
        value = match.reading.value
        if value == SAME:
            value = self._last_result(before)
        elif self._negated(match):
            value = {"plays": "fails", "fails": "plays"}.get(value, "")
        elif value == "plays" and self._governed(match):
            return []
        if not value or (value == "plays" and self._over(match)):
            return []
        out: list[_Found] = []
        for fact in self.lexicon.facts_by_role.get("disc_result", ()):
            if fact.disc_class in match.discs:
                found = self._found(match, fact.id, value, match.reading.certainty, False)
                out.append(replace(found, plural=self._plural(match, fact.disc_class)))
        if not out and "any" in match.discs and value in self.lexicon.any_disc:
            generic, meaning = self.lexicon.any_disc[value]
            if generic in self.lexicon.family.facts:
                out.append(self._found(match, generic, meaning, match.reading.certainty, False))
        return out

    def _last_result(self, before: Sequence[_Found]) -> str:
        """What "the same" of another disc class means: the result named last, "" when there is none."""
        results = {fact.id for fact in self.lexicon.facts_by_role.get("disc_result", ())}
        meaning = {generic: result for result, generic in self.lexicon.any_disc.items()}
        for item in reversed(before):
            heard = item.heard
            if heard.fact in results and heard.value in self.lexicon.any_disc:
                return str(heard.value)
            if (heard.fact, heard.value) in meaning:
                return meaning[heard.fact, str(heard.value)]
        return ""

    def _over(self, match: Match) -> bool:
        """True when what plays is said to have played before ("it did read DVDs before, today it reads nothing")."""
        end = match.end
        clause = self.scopes.clause_of[match.start]
        joins = self.lexicon.language.joins
        return within(self.scopes.past, match) or any(
            mark.start >= match.start
            and mark.start <= end + 4
            and self.scopes.clause_of[mark.start] == clause
            and (
                mark.end >= len(self.tokens)
                or self.scopes.clause_of[mark.end] != clause
                or self.tokens[mark.end].word in joins
            )
            for mark in self.over
        )

    def _plural(self, match: Match, disc_class: str | None) -> bool:
        return any(
            self.tokens[mark.end - 1].word != self.tokens[mark.end - 1].stem
            for mark in self.discs
            if mark.kind == f"disc.{disc_class}" and match.start <= mark.start and mark.end <= match.end
        )

    def _attempt(self, match: Match, fact: Fact, value: str, denied: bool) -> list[_Found]:
        if value != "someone":
            if denied and value != "nobody":
                return [self._found(match, fact.id, "nobody", NEGATED_ATTEMPT_CERTAINTY, True)]
            return [self._found(match, fact.id, value, match.reading.certainty, False)]
        if denied:
            return [self._found(match, fact.id, "nobody", NEGATED_ATTEMPT_CERTAINTY, True)]
        who, sureness = who_did(
            match,
            self.scopes,
            self.tokens,
            self.people,
            self.passive,
            self.lexicon.cues.get("pronoun", ()),
            [mark for mark in self.passive if mark.kind == "agent"],
        )
        if who not in fact.options:
            who = "someone"
        if who == "someone" and self.known.get(fact.id) not in (None, "nobody"):
            return []
        return [self._found(match, fact.id, who, min(sureness, match.reading.certainty), False)]

    def _negated(self, match: Match) -> bool:
        return negated(self.scopes, match, self.spent, self.tokens, self.lexicon)

    def _governed(self, match: Match) -> bool:
        """True when any denial reaches the match, one that is part of another wording included: "no disc is read" holds
        "disc is read", which says the opposite; "it won't pull the disc in" holds "pull the disc in"."""
        before = match.start - 1
        if before >= 0 and self.tokens[before].word in self.lexicon.language.negators:
            return True
        return negated(self.scopes, match, frozenset(), self.tokens, self.lexicon)

    def _not_stated(self, match: Match, fact: Fact | None) -> bool:
        scopes = self.scopes
        hazard = fact is not None and fact.role == "hazard"
        if within(scopes.hypothetical, match) or within(scopes.question, match):
            return not hazard or within(scopes.hypothetical, match)
        return within(scopes.elsewhere, match) or (within(scopes.past, match) and not hazard)

    def _doubt(self, match: Match) -> float:
        return min(self.scopes.hedge[match.used[0]], self.scopes.hedge[match.used[-1]])

    def _found(self, match: Match, fact: str, value: Value | None, certainty: float, denied: bool) -> _Found:
        span = self.span(match)
        sure = round(certainty * self._doubt(match), 3) if value is not None else certainty
        heard = HeardFact(fact, value, sure, span, self.folded.original[span[0] : span[1]], denied)
        return _Found(heard, match.used[0], match)


CAUSE_REACH = 30
"""Tokens between what happened and the "since then" that makes it the cause."""

CAUSE_CERTAINTY = 0.85


def _caused(
    found: Sequence[_Found], tokens: Sequence[Token], marks: Sequence[Mark], scopes: Scopes, lexicon: Lexicon
) -> list[_Found]:
    """ "... fell off the shelf. Ever since then ...": what was said last before the words is the cause, for facts listed
    under the cue kinds `cause.<fact>`."""
    out: list[_Found] = []
    for kind, listed in lexicon.cues.items():
        if not kind.startswith("cause."):
            continue
        target = kind.removeprefix("cause.")
        causes = dict(entry.split("=", 1) for entry in listed)
        if target not in lexicon.family.facts or any(item.heard.fact == target for item in found):
            continue
        for mark in marks:
            if mark.kind != "since_then" or scopes.hypothetical[mark.start] >= 0:
                continue
            before = [
                item
                for item in found
                if item.heard.fact in causes
                and item.heard.value not in (None, *_DENIALS)
                and mark.start - CAUSE_REACH <= item.position < mark.start
            ]
            if before:
                last = max(before, key=lambda item: item.position)
                heard = replace(
                    last.heard, fact=target, value=causes[last.heard.fact], certainty=CAUSE_CERTAINTY
                )
                out.append(_Found(heard, mark.start, last.match))
                break
    return out


UNSURE_GENERIC = 0.6
"""Certainty of "no disc is read" from "the DVD won't play", where only the everyday word for any disc was said."""


def _everyday_classes(
    found: list[_Found], kinds: frozenset[str], contrast: bool, lexicon: Lexicon, expected: Fact | None,
    device_known: bool,
) -> list[_Found]:  # fmt: skip
    """Class words said of any disc. A class word gives the result of that class. Said of a device whose owners say that
    word for every disc ("CD" of a CD player), with no other class named beside it, it also means that no disc is read:
    in the singular, or where the device plays one class only. Where the device was known before, that is all it means,
    unless something else of the device is said to work ("but the radio is fine"). "It won't read" beside "games fail"
    only says the same again.
    """
    by_class = {fact.id: fact.disc_class or "" for fact in lexicon.facts_by_role.get("disc_result", ())}
    named: dict[str, set[str]] = {}
    for item in found:
        if item.heard.fact in by_class:
            named.setdefault(str(item.heard.value), set()).add(by_class[item.heard.fact])
    others = set().union(*named.values()) if named else set()
    devices = lexicon.family.devices
    several = any(len(devices[kind].discs) > 1 for kind in kinds if kind in devices) or kinds == {"?"}
    generics = {fact for fact, _ in lexicon.any_disc.values()}
    asked = expected is not None and expected.role == "disc_result"
    out: list[_Found] = []
    for item in found:
        if item.vague and item.heard.fact in generics and others and "fails" in named:
            continue
        disc_class = by_class.get(item.heard.fact)
        everyday = (
            disc_class is not None
            and item.heard.value in lexicon.any_disc
            and bool(lexicon.namesakes.get(disc_class, frozenset()) & kinds)
            and not (asked or others - {disc_class} or (item.plural and several))
            and not (item.heard.value == "plays" and (contrast or several))
        )
        if not everyday or not device_known or contrast:
            out.append(item)
        if everyday:
            generic, meaning = lexicon.any_disc[str(item.heard.value)]
            sure = min(item.heard.certainty, UNSURE_GENERIC) if several else item.heard.certainty
            if generic in lexicon.family.facts:
                heard = replace(item.heard, fact=generic, value=meaning, certainty=sure)
                out.append(replace(item, heard=heard))
    return out


def _one_value_each(
    found: Sequence[_Found], correcting: Sequence[int], lexicon: Lexicon, device: Fact | None
) -> list[_Found]:
    """At most one value a fact: after a correction cue the later stands; else the surer, the stated before the denied,
    for attempts the most telling person, for the device the first named."""
    chosen: dict[str, _Found] = {}
    for item in sorted(found, key=lambda f: (f.position, f.heard.fact, str(f.heard.value))):
        held = chosen.get(item.heard.fact)
        if held is None:
            chosen[item.heard.fact] = item
            continue
        if held.heard.value == item.heard.value:
            if item.heard.certainty > held.heard.certainty:
                chosen[item.heard.fact] = item
            continue
        corrected = any(held.position < index <= item.position for index in correcting)
        if corrected or _beats(item, held, lexicon, device):
            chosen[item.heard.fact] = item
    return [chosen[fact] for fact in sorted(chosen, key=lambda f: chosen[f].position)]


def _drop_contradicted(facts: list[_Found], lexicon: Lexicon) -> list[_Found]:
    """ "Nothing plays" gives way to a more exact fact of the same message that implies the opposite ("sometimes it
    won't read"), as the family's `implies` say."""
    generic = {fact for fact, _ in lexicon.any_disc.values()}
    against = {
        (rule.fact, rule.gives)
        for item in facts
        for rule in lexicon.family.facts[item.heard.fact].implies
        if rule.value == item.heard.value and rule.fact in generic
    }
    return [
        item
        for item in facts
        if not any(
            item.heard.fact == fact and item.heard.value not in (None, gives) for fact, gives in against
        )
    ]


def _sure_of_device(facts: Sequence[_Found], found: Sequence[_Found], device: Fact | None) -> list[_Found]:
    """The kind of device is surer where the message names no other kind."""
    named = {item.heard.value for item in found if device is not None and item.heard.fact == device.id}
    return [
        replace(item, heard=replace(item.heard, certainty=SOLE_DEVICE))
        if len(named) == 1 and item.heard.value in named and item.heard.certainty >= DEFAULT_CERTAINTY
        else item
        for item in facts
    ]


_TELLING = ("nobody", "someone", "owner", "friend", "shop")


def _beats(item: _Found, held: _Found, lexicon: Lexicon, device: Fact | None) -> bool:
    fact = lexicon.family.facts[item.heard.fact]
    if held.heard.value is None or item.heard.value is None:
        return held.heard.value is None
    if fact.role == "hazard":
        return item.heard.value == "yes"
    if fact.role == "attempt":
        return _TELLING.index(str(item.heard.value)) > _TELLING.index(str(held.heard.value))
    if device is not None and fact.id == device.id:
        return False
    if fact.role == "disc_result":
        return item.heard.value == "fails"
    if fact.type == "yes_no" and item.heard.negated != held.heard.negated:
        return held.heard.negated
    if fact.type == "choice" and (item.heard.value in _DENIALS) != (held.heard.value in _DENIALS):
        return held.heard.value in _DENIALS
    return item.heard.certainty >= held.heard.certainty
