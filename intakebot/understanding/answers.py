"""Short answers to the pending question: yes, no, don't know, an option by number, letter, label or place in the list.

Only the beginning of a message answers (after an "um" or "sorry"); a "no" that denies the word after it ("no power")
is not an answer. Numbers pick an option only when the question does not itself ask for a number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz.distance import DamerauLevenshtein

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Family, Question
from intakebot.understanding.folding import fold
from intakebot.understanding.heard import Expecting, Option, Reply
from intakebot.understanding.language import Language
from intakebot.understanding.matching import Mark
from intakebot.understanding.tokens import HARD, SOFT, Token, raw_words

REPLY_KINDS: tuple[Reply, ...] = ("not_known", "declined", "no", "yes")
MEANS: Mapping[str, frozenset[Value | None]] = {
    "yes": frozenset({"yes", "plays"}),
    "no": frozenset({"no", "fails", "nobody", "nothing", "none"}),
}
"""Values that a bare yes or no means where a question reads like one ("Do CDs play?" - "no")."""
_ONLY = frozenset(["just", "only", "nur", "bloss"])
"""Words beside a place in a list ("just the first one")."""
_PLAIN_NO = frozenset(["no", "nein"])
_DENYING = frozenset(["not", "kein", "keine", "nicht"])
"""First words of labels that alone name no choice: "not really" is not "Not sure"."""
_VAGUE_NUMBERS = frozenset(
    [
        "a",
        "an",
        "one",
        "both",
        "single",
        "couple",
        "pair",
        "dozen",
        "ein",
        "eine",
        "einen",
        "einem",
        "einer",
        "paar",
        "beide",
        "dutzend",
    ]
)
"""Words that count, but never name a place in a list."""
SHORT = 10
"""Words up to which a "don't know" anywhere is the answer."""


@dataclass(frozen=True)
class AnswerRead:
    """How the message answers: at most one option (or several, where several may be chosen), and the kind of reply."""

    options: tuple[Option, ...]
    reply: Reply | None
    span: tuple[int, int] | None


def read_reply(
    tokens: Sequence[Token], marks: Sequence[Mark], language: Language
) -> tuple[Reply, int, int] | None:
    """(kind, first token, token after) of a yes, no, don't know or rather-not at the start of the message."""
    if tokens and all(token.word == "?" for token in tokens):
        return "not_known", 0, len(tokens)
    first = 0
    while (
        first < len(tokens)
        and first < 4
        and (tokens[first].word in language.openings or tokens[first].word in SOFT)
    ):
        if any(m.start == first and m.kind in REPLY_KINDS and m.end == len(tokens) for m in marks):
            break
        first += 1
    best: tuple[int, int, Reply] | None = None
    for mark in marks:
        if mark.kind not in REPLY_KINDS or mark.start not in (0, first):
            continue
        if not _answers(tokens, mark, language):
            continue
        kind: Reply = mark.kind  # type: ignore[assignment]
        key = (mark.end, -REPLY_KINDS.index(kind), kind)
        if best is None or key[:2] > best[:2]:
            best = (mark.end, -REPLY_KINDS.index(kind), kind)
    if best is not None:
        return best[2], first if best[0] > first else 0, best[0]
    if sum(token.is_word for token in tokens) <= SHORT:
        for mark in marks:
            if (
                mark.kind in ("not_known", "declined")
                and mark.end - mark.start > 1
                and _answers(tokens, mark, language)
            ):
                late: Reply = mark.kind  # type: ignore[assignment]
                return late, mark.start, mark.end
    return None


def _answers(tokens: Sequence[Token], mark: Mark, language: Language) -> bool:
    if mark.end >= len(tokens):
        return True
    following = tokens[mark.end].word
    if following in HARD or following in SOFT or following == "-":
        return True
    if mark.kind in ("not_known", "declined"):
        return mark.end - mark.start > 1 and (
            following in language.after_reply or following in language.after_unsure
        )
    return mark.end - mark.start == 1 and following in language.after_reply


def read_answer(
    text: str, tokens: Sequence[Token], marks: Sequence[Mark], expecting: Expecting, fact: Fact | None,
    language: Language,
) -> AnswerRead:  # fmt: skip
    """Match the message against the pending question's options."""
    reply = read_reply(tokens, marks, language)
    kind = reply[0] if reply else None
    span = (tokens[reply[1]].start, tokens[reply[2] - 1].end) if reply and reply[2] > reply[1] else None
    options = expecting.options
    if not options:
        return AnswerRead((), kind, span)
    several = fact is not None and fact.type == "choices"
    numeric = fact is not None and fact.type in ("count", "amount", "date")
    whole = (tokens[0].start, tokens[-1].end) if tokens else None
    picked = () if numeric else _by_position(tokens, options, language, several=several)
    if not picked:
        picked = _by_label(text, options, several=several) or _by_label(
            " ".join(word for word in _label_words(text) if word not in language.fillers | language.subjects),
            options,
            several=several,
        )
    if not picked and not several:
        picked = _by_label(_first_sentence(text), options, several=False)
    if picked:
        return AnswerRead(picked, kind, whole)
    return AnswerRead(option_meant_by(kind, expecting, language), kind, span)


def option_meant_by(kind: Reply | None, expecting: Expecting, language: Language) -> tuple[Option, ...]:
    """The one option that a bare yes, no or don't know means; none where it is not clear."""
    if kind in ("yes", "no"):
        return _by_reply(kind, expecting.options, expecting.fact, language)
    if kind != "not_known":
        return ()
    unsure = [
        o
        for o in expecting.options
        if o.id in ("unknown", "not_sure", "not_known")
        or (o.sets and all(v is None for v in o.sets.values()))
    ]
    return tuple(unsure[:1])


def _plain_words(tokens: Sequence[Token]) -> list[str]:
    return [token.word for token in tokens if token.is_word]


def _by_position(
    tokens: Sequence[Token], options: Sequence[Option], language: Language, *, several: bool
) -> tuple[Option, ...]:
    """ "2", "b)", "option 3", "the first one"; "1 and 3" where several may be chosen."""
    words = _plain_words(tokens)
    if not 0 < len(words) <= 8:
        return ()
    positions: list[int] = []
    for index, word in enumerate(words):
        if word.isascii() and word.isdigit() and len(word) <= 2:
            positions.append(int(word) - 1)
        elif (
            len(word) == 1
            and "a" <= word <= "z"
            and (len(words) == 1 or (words[index - 1] in ("option", "answer", "choice", "antwort") and index))
        ):
            positions.append(ord(word) - ord("a"))
        elif word in language.ordinals:
            place = language.ordinals[word]
            positions.append(place - 1 if place > 0 else len(options) - 1)
        elif word in language.numbers and len(words) <= 3 and word not in _VAGUE_NUMBERS:
            positions.append(language.numbers[word] - 1)
        elif word == "one" and len(words) == 1:
            positions.append(0)
        elif word not in language.position_words and word not in _ONLY:
            return ()
    if not positions or any(not 0 <= place < len(options) for place in positions):
        return ()
    unique = list(dict.fromkeys(positions))
    return tuple(options[place] for place in unique) if several or len(unique) == 1 else ()


def _first_sentence(text: str) -> str:
    ends = [at for at in (text.find(sign) for sign in ".!\n") if at > 0]
    return text[: min(ends)] if ends else ""


def _label_words(label: str) -> list[str]:
    return [word for word, _, _ in raw_words(fold(label).text) if word[:1].isalnum()]


def _by_label(text: str, options: Sequence[Option], *, several: bool) -> tuple[Option, ...]:
    """An exact label, the only label that begins so, a label within the message, or one that is a typo away."""
    said = " ".join(_label_words(text))
    if not said:
        return ()
    labels = {option.id: " ".join(_label_words(option.label)) for option in options}
    exact = [o for o in options if said in (labels[o.id], o.id.replace("_", " "))]
    if len(exact) == 1:
        return tuple(exact)
    if len(said) >= 3 and said not in _DENYING:
        begins = [o for o in options if labels[o.id].startswith(said)]
        if len(begins) == 1:
            return tuple(begins)
    padded = f" {said} "
    inside = [o for o in options if len(labels[o.id]) >= 3 and f" {labels[o.id]} " in padded]
    longest = [
        o
        for o in inside
        if not any(o is not p and f" {labels[o.id]} " in f" {labels[p.id]} " for p in inside)
    ]
    if (
        longest
        and (several or len(longest) == 1)
        and (several or len(said) <= len(labels[longest[0].id]) + 25)
    ):
        return tuple(longest)
    if 4 <= len(said) <= 60:
        allowed = 1 if len(said) < 8 else 2
        close = [
            o
            for o in options
            if len(labels[o.id]) >= 4 and DamerauLevenshtein.distance(said, labels[o.id]) <= allowed
        ]
        if len(close) == 1:
            return tuple(close)
    return ()


def _by_reply(
    kind: str, options: Sequence[Option], fact_id: str | None, language: Language
) -> tuple[Option, ...]:
    """The option a bare yes or no means: by its id, by its label's first word, or as the only one whose values mean it."""
    by_id = [o for o in options if o.id == kind]
    if by_id:
        return tuple(by_id[:1])
    told = [o for o in options if any(value is not None for value in o.sets.values())]
    words = {phrase for phrase in language.cues.get(kind, ()) if " " not in phrase} - language.negators
    if kind == "no":
        words |= _PLAIN_NO
    labelled = [o for o in told if (_label_words(o.label) or [""])[0] in words]
    if len(labelled) == 1 and "," in labelled[0].label:
        return tuple(labelled)
    if fact_id is not None:
        sets = [o for o in options if o.sets.get(fact_id) == kind]
        if len(sets) == 1:
            return tuple(sets)
        none_value = [o for o in options if kind == "no" and o.sets.get(fact_id) in ("nobody", "none")]
        if len(none_value) == 1:
            return tuple(none_value)
    if len(labelled) == 1:
        return tuple(labelled)
    contrary = set(language.cues.get("no" if kind == "yes" else "yes", ()))
    meant = [
        o
        for o in told
        if set(o.sets.values()) <= MEANS[kind] and (_label_words(o.label) or [""])[0] not in contrary
    ]
    return tuple(meant) if len(meant) == 1 else ()


def reads_as_yes_no(options: Sequence[Option]) -> bool:
    """Whether one of the options means a plain yes or no, so that the other answer asks for "which one then?"."""
    said = [set(o.sets.values()) - {None} for o in options]
    return any(values and any(values <= meant for meant in MEANS.values()) for values in said)


def expecting_for(family: Family, question_id: str, texts: object) -> Expecting:
    """The pending question with its listed options, labels taken from `texts` (anything with `say(key)` and `has(key)`).

    Raises: KeyError for an unknown question.
    """
    question = family.questions[question_id]
    fact = question.fills[0] if len(question.fills) == 1 else None
    return Expecting(fact, question_id, tuple(_options(family, question, texts)))


def _options(family: Family, question: Question, texts: object) -> list[Option]:
    def label(*keys: str) -> str:
        for key in keys:
            if texts.has(key):  # type: ignore[attr-defined]
                return str(texts.say(key))  # type: ignore[attr-defined]
        return keys[-1].rsplit(".", 1)[-1]

    if question.choices:
        return [
            Option(choice.id, label(f"choice.{question.id}.{choice.id}"), dict(choice.sets))
            for choice in question.choices
        ]
    if len(question.fills) != 1:
        return []
    fact = family.facts[question.fills[0]]
    codes = (
        ("yes", "no") if fact.type == "yes_no" else fact.options if fact.type in ("choice", "choices") else ()
    )
    sets: list[Mapping[str, Value | None]] = [
        {fact.id: (code,) if fact.type == "choices" else code} for code in codes
    ]
    return [
        Option(code, label(f"option.{fact.id}.{code}", f"option.{code}"), value)
        for code, value in zip(codes, sets, strict=True)
    ]
