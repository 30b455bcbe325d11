"""A family's phrases of one locale, compiled for matching: two tries over word labels, and the domain vocabulary.

Labels: `s:` a stem, `x:` an exact form, `c:` a word class, `^` and `$` clause edges. The class trie finds members of
word classes (cue kinds of the language and of the family); the phrase trie is then walked over words and classes.

Cue kinds with a meaning of their own (the rest are plain word classes):
    nothing               wordings that look like a fact and are none; they hide what they contain
    contrast              wordings that say that something else of the device works
    independent           ids of facts that stay heard inside longer wordings of other facts
    disc.<class>          words for a disc class; `disc.any` words for any disc; `{disc}` reads all of them, and lists
    disc_compounds        words that turn a disc word before them into another thing ("CD player")
    beside_discs          other media that stand in one list with discs ("CD and tape")
    disc_result.<value>   wordings with `{disc}`; they fill the fact of role disc_result of the class that was named
    small_talk            sentences that carry no fact, for training the light model
    any_disc.<value>      `fact=value` that such a wording means when no class, or only everyday use of one, was named
    hedged.<fact>         `value=other`: a doubted "value" of that fact is the value "other" ("I think it is in there")
    cause.<fact>          `fact=value`: "since then" behind such a fact gives <fact> that value
    listed_result         words a result begins with, read over a sign ("Games: no")
    pause                 wordings that ask for a moment; their number counts nothing
    universal             words for every disc: a wording with one says more than a failing class beside it
    namesake.<class>      device kinds whose owners say that class for any disc ("CD" of a CD player)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

from intakebot.definitions.model import Example, Fact, Family
from intakebot.understanding.folding import fold
from intakebot.understanding.language import Language
from intakebot.understanding.phrase_grammar import DEFAULT_CERTAINTY, Element, Phrase, parse_phrase
from intakebot.understanding.tokens import expand, raw_words, split_digits

ReadingKind = Literal["fact", "disc_result", "nothing", "contrast"]
MAX_MEMBERS = 4000
"""Most members a word class may have after its own classes are put in."""


@dataclass(frozen=True)
class Reading:
    """What a matched phrase means: a value of a fact, or of the disc result of whichever class was named."""

    kind: ReadingKind
    fact: str
    value: str
    certainty: float = DEFAULT_CERTAINTY
    devices: frozenset[str] = frozenset()
    said: frozenset[str] = frozenset()


@dataclass
class Node:
    """A node of the word graph; built once, never changed afterwards. An edge may lead to several nodes."""

    edges: dict[str, list[Node]] = field(default_factory=dict)
    children: dict[tuple[str, ...], Node] = field(default_factory=dict)
    gaps: dict[int, Node] = field(default_factory=dict)
    accepts: list[Reading] = field(default_factory=list)
    members: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Lexicon:
    family: Family
    language: Language
    phrases: Node
    classes: Node
    cues: Mapping[str, tuple[str, ...]]
    words: frozenset[str]
    stems: frozenset[str]
    facts_by_role: Mapping[str, tuple[Fact, ...]]
    namesakes: Mapping[str, frozenset[str]]
    any_disc: Mapping[str, tuple[str, str]]
    compounds: frozenset[str]
    independent: frozenset[str]
    hedged: Mapping[tuple[str, str], str]
    examples: tuple[tuple[str, str, str], ...]
    sentences: tuple[Example, ...]
    kinds: Mapping[str, tuple[str, ...]]
    answers: Mapping[str, Node] = field(default_factory=dict)
    over: Mapping[str, frozenset[str]] = field(default_factory=dict)
    asked_words: Mapping[str, frozenset[str]] = field(default_factory=dict)
    answer_words: frozenset[str] = frozenset()

    def role(self, role: str) -> Fact | None:
        """The first fact of a role, or None."""
        facts = self.facts_by_role.get(role, ())
        return facts[0] if facts else None


def build_lexicon(family: Family, locale: str, language: Language) -> Lexicon:
    """Compile. A family without phrases in the locale gets the language's own cues only.

    Raises: BadInputError for a phrase that cannot be parsed.
    """
    phrases = family.phrases.get(locale)
    cues = merge({**language.cues, "hedge": tuple(language.hedges)}, phrases.cues if phrases else {})
    values = phrases.values if phrases else {}
    words: set[str] = set()
    classes = Node()
    members = Members(cues, language, words)
    for kind in sorted(cues):
        if _is_class(kind):
            for row in members.of(kind):
                insert(classes, list(row)).members.append(kind)
    root = Node()
    examples = [("", "", text) for text in cues.get("small_talk", ())]
    for source, reading in _readings(cues, values):
        phrase = parse_phrase(source, f"phrases/{locale}: {reading.fact or reading.kind}={reading.value}")
        final = Reading(
            reading.kind, reading.fact, reading.value, phrase.certainty, phrase.devices, phrase.said
        )
        for elements in phrase.rows:
            node = insert_row(root, elements, language, words)
            if final not in node.accepts:
                node.accepts.append(final)
        if reading.kind == "fact" and "asked" not in phrase.devices and not phrase.said:
            examples.extend((reading.fact, reading.value, text) for text in sample_texts(phrase, members))
    stems = frozenset(language.stem(word) for word in words)
    roles: dict[str, tuple[Fact, ...]] = {}
    for fact in family.facts.values():
        if fact.role:
            roles[fact.role] = (*roles.get(fact.role, ()), fact)
    return Lexicon(
        family, language, root, classes, cues, frozenset(words), stems, roles,
        {kind.removeprefix("namesake."): frozenset(listed) for kind, listed in cues.items() if kind.startswith("namesake.")},
        {
            kind.removeprefix("any_disc."): _fact_value(listed[0])
            for kind, listed in cues.items()
            if kind.startswith("any_disc.") and listed
        },
        frozenset(language.stem(word) for word in cues.get("disc_compounds", ())),
        frozenset(cues.get("independent", ())),
        {
            (kind.removeprefix("hedged."), value): other
            for kind, listed in cues.items()
            if kind.startswith("hedged.")
            for value, other in map(_fact_value, listed)
        },
        tuple(examples), family.examples.get(locale, ()), _kinds(cues, members),
    )  # fmt: skip


_NOT_CLASSES = (
    "nothing",
    "contrast",
    "disc_compounds",
    "independent",
    "small_talk",
    "hedged.",
    "disc_result.",
    "any_disc.",
    "cause.",
    "namesake.",
)


def _is_class(kind: str) -> bool:
    return not kind.startswith(_NOT_CLASSES)


def _kinds(cues: Mapping[str, tuple[str, ...]], members: Members) -> dict[str, tuple[str, ...]]:
    """Stem or exact word -> word classes it alone is a member of; for the light model."""
    found: dict[str, tuple[str, ...]] = {}
    for kind in sorted(cues):
        if _is_class(kind) and kind != "hedge":
            for row in members.of(kind):
                if len(row) == 1 and kind not in found.get(row[0][2:], ()):
                    found[row[0][2:]] = (*found.get(row[0][2:], ()), kind)
    return found


def merge(
    base: Mapping[str, tuple[str, ...]], extra: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    merged = {kind: tuple(words) for kind, words in base.items()}
    for kind, words in extra.items():
        merged[kind] = (*merged.get(kind, ()), *words)
    return merged


def _fact_value(text: str) -> tuple[str, str]:
    fact, _, value = text.partition("=")
    return fact.strip(), value.strip()


def _readings(
    cues: Mapping[str, tuple[str, ...]], values: Mapping[str, Mapping[str, tuple[str, ...]]]
) -> Iterable[tuple[str, Reading]]:
    for source in cues.get("nothing", ()):
        yield source, Reading("nothing", "", "")
    for source in cues.get("contrast", ()):
        yield source, Reading("contrast", "", "")
    for kind in sorted(cues):
        if kind.startswith("disc_result."):
            for source in cues[kind]:
                yield source, Reading("disc_result", "", kind.removeprefix("disc_result."))
    for fact in values:
        for value, sources in values[fact].items():
            for source in sources:
                yield source, Reading("fact", fact, value)


class Members:
    """Members of word classes as rows of labels (`s:` stem, `x:` exact form), classes inside classes put in."""

    def __init__(self, cues: Mapping[str, tuple[str, ...]], language: Language, words: set[str]) -> None:
        self._cues, self._language, self._words = cues, language, words
        self._done: dict[str, tuple[tuple[str, ...], ...]] = {}
        self._open: set[str] = set()

    def of(self, kind: str) -> tuple[tuple[str, ...], ...]:
        if kind in self._done:
            return self._done[kind]
        if kind in self._open or kind not in self._cues:
            return ()
        self._open.add(kind)
        rows: dict[tuple[str, ...], None] = {}
        for source in self._cues[kind]:
            for row in _parse_member(source, kind):
                for flat in self._flatten(row):
                    rows[flat] = None
        self._open.discard(kind)
        self._done[kind] = tuple(rows)[:MAX_MEMBERS]
        return self._done[kind]

    def _flatten(self, row: tuple[Element, ...]) -> list[tuple[str, ...]]:
        flats: list[tuple[str, ...]] = [()]
        for element in row:
            ways = self._ways(element)
            flats = [flat + way for flat in flats for way in ways]
        return [flat for flat in flats if flat]

    def _ways(self, element: Element) -> tuple[tuple[str, ...], ...]:
        if element.kind == "class":
            return self.of(element.text)
        if element.kind == "any":
            return tuple(way for option in element.options for way in self._ways(option))
        return (_labels(element, self._language, self._words),)


def _parse_member(source: str, kind: str) -> tuple[tuple[Element, ...], ...]:
    if not any(char.isalnum() for char in source):
        return ((Element("stem", source),),)
    return parse_phrase(source, f"cues: {kind}").rows


def stems_of(text: str, language: Language, words: set[str]) -> list[str]:
    """Stems of a written word as they will stand in a message (contractions spelled out); notes the words."""
    stems: list[str] = []
    for part in _parts_of(text):
        for word in expand(part, language):
            words.add(word)
            stems.append(language.stem(word) if word[:1].isalnum() else word)
    return stems


@lru_cache(maxsize=16384)
def _parts_of(text: str) -> tuple[str, ...]:
    """The words and signs of a piece of a phrase; the same ones stand in many phrases."""
    return tuple(part for written, _, _ in raw_words(fold(text).text) for part in split_digits(written))


def insert(node: Node, labels: Iterable[str]) -> Node:
    for label in labels:
        node = _child(node, ((label,),))
    return node


def _child(node: Node, ways: tuple[tuple[str, ...], ...]) -> Node:
    """The node reached over any of several ways (each a row of labels); shared by phrases with the same choice."""
    key = tuple(" ".join(way) for way in ways)
    found = node.children.get(key)
    if found is None:
        found = node.children[key] = Node()
        for way in ways:
            last = insert(node, way[:-1])
            last.edges.setdefault(way[-1], []).append(found)
    return found


def insert_row(root: Node, row: tuple[Element, ...], language: Language, words: set[str]) -> Node:
    node = root
    for element in row:
        if element.kind == "gap":
            node = node.gaps.setdefault(element.size, Node())
        elif element.kind == "any":
            ways = [_labels(option, language, words) for option in element.options]
            node = _child(node, tuple(sorted({way for way in ways if way})))
        else:
            node = insert(node, _labels(element, language, words))
    return node


def _labels(element: Element, language: Language, words: set[str]) -> tuple[str, ...]:
    if element.kind == "start":
        return ("^",)
    if element.kind == "end":
        return ("$",)
    if element.kind == "class":
        return (f"c:{element.text}",)
    if element.kind == "exact":
        words.add(element.text)
        return (f"x:{element.text}",)
    return tuple(f"s:{word}" for word in stems_of(element.text, language, words))


def sample_texts(phrase: Phrase, members: Members, most: int = 1) -> list[str]:
    """A few plain texts a phrase stands for, for training the light model (first members of its classes)."""
    texts: list[str] = []
    for index, row in enumerate(phrase.rows[:most]):
        parts: list[str] = []
        for element in row:
            if element.kind == "class":
                rows = members.of(element.text)
                parts.extend(label[2:] for label in (rows[index % len(rows)] if rows else ()))
            elif element.kind == "any":
                parts.append(element.options[index % len(element.options)].text)
            elif element.kind in ("stem", "exact"):
                parts.append(element.text)
        texts.append(" ".join(parts))
    return texts
