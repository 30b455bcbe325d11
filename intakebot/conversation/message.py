"""What the customer writes or taps: controls, hazards, facts, and what to do when nothing was understood."""

from __future__ import annotations

from dataclasses import replace

from intakebot.conversation.aside import ASIDE
from intakebot.conversation.asking import check, flush, show_recap
from intakebot.conversation.checklist import shown_items
from intakebot.conversation.choices import agree, enter_choice, picked_with_rest, take_choice
from intakebot.conversation.choosing import Ask, decide
from intakebot.conversation.contact import check_contact, read_contact, role_fact
from intakebot.conversation.controls import Control, control_of, is_angry
from intakebot.conversation.entering import derive, enter
from intakebot.conversation.flow import go_on, reask
from intakebot.conversation.guard import is_empty, is_reaction, key, readable
from intakebot.conversation.handing import hand_off, hours
from intakebot.conversation.leanings import WEIGHTY, WORTH_ASKING, leanings
from intakebot.conversation.reading import SURE, Understood, expecting_of, question_of, read
from intakebot.conversation.safety import preempt, review, unsure
from intakebot.conversation.state import Because, Pending, Proposal
from intakebot.conversation.steering import (
    ALWAYS_HEARD,
    PUSH_CHANNELS,
    applies,
    ask_wish,
    opt_in,
    resume,
    say_both_languages,
    steer,
)
from intakebot.conversation.turn import Reply, StaffToSee
from intakebot.conversation.work import Work
from intakebot.definitions.texts import Texts
from intakebot.understanding import reads_as_yes_no

MOST_MISSES = 3
MOST_ANGER = 2
STORY_CHARACTERS = 500


def take_message(work: Work, text: str) -> None:
    control = control_of(text, work.words)
    if control is not None and not applies(work, control, key(text)):
        control = None
    if _silenced(work, control is not None and control.name == "start"):
        _listen(work, text)
        return
    if control is not None and (work.conversation.floor != "person" or control.name in ALWAYS_HEARD):
        paused = work.conversation.floor == "paused"
        if paused and control.name == "skip":
            control = Control("resume")
        elif paused and control.name not in ("stop", "pause", "resume"):
            restore_floor(work)
        steer(work, control)
        return
    if work.conversation.floor == "person" and not _answers_aside(work):
        _while_person(work, text)
        return
    if work.conversation.floor == "paused" or work.conversation.pending is None:
        restore_floor(work)
    _content(work, text)


def _answers_aside(work: Work) -> bool:
    """While a person has the floor only a control's own yes/no (erase all?) may be open."""
    pending = work.conversation.pending
    return pending is not None and pending.kind in ASIDE


def _silenced(work: Work, wants_back: bool) -> bool:
    """After an opt-out nothing is sent on a channel where we write first, except the answer to START."""
    return (
        work.conversation.consent == "opted_out"
        and work.conversation.channel in PUSH_CHANNELS
        and not wants_back
    )


def _listen(work: Work, text: str) -> None:
    """Facts still land while nothing may be said."""
    read(work, text)
    derive(work)
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    work.effects.append(StaffToSee("wrote_after_opt_out"))


def restore_floor(work: Work) -> None:
    """The talk is on again; the question put aside is open again."""
    if work.conversation.floor == "paused":
        work.change(floor="self")
        work.note("resumed")
    if work.conversation.held is not None and work.conversation.pending is None:
        work.change(pending=work.conversation.held, held=None)


def _while_person(work: Work, text: str) -> None:
    """A person has the floor: facts still land, hazards still count, the engine asks nothing."""
    read(work, text)
    derive(work)
    work.change(proposals=())
    work.effects.append(StaffToSee("message"))
    if preempt(work):
        return
    review(work)
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    _say_waiting(work)


def _say_waiting(work: Work) -> None:
    """Said once in a row, and not at all once the person writes."""
    text = work.say("handover_waiting", hours=hours(work))
    if not work.conversation.person_wrote and work.conversation.last_replies != (text,):
        work.reply(Reply(text, kind="handover"))


def _content(work: Work, text: str) -> None:
    if is_reaction(text):
        return
    if is_empty(text):
        _not_understood(work, "empty")
        return
    pending = work.conversation.pending
    choice, rest = picked_with_rest(work, pending, text)
    if choice is not None and not rest:
        work.change(misses=0)
        take_choice(work, choice)
        return
    if choice is not None and enter_choice(work, choice):
        work.change(misses=0, pending=None)
        text = rest
    if is_angry(text, work.words):
        work.change(anger=work.conversation.anger + 1)
        _empathise(work)
    _keep_story(work, text)
    if pending is not None and pending.kind == "contact":
        _contact(work, text)
        return
    understood = read(work, text, _note_language(work, text))
    derive(work)
    if preempt(work) or unsure(work, pending):
        return
    review(work)
    if work.conversation.anger >= MOST_ANGER:
        work.change(anger=0)
        flush(work)
        hand_off(work, "anger")
        return
    if work.conversation.foreign is not None and work.conversation.foreign[1] >= 2:
        _offer_language(work, understood)
        return
    wish = _wish_to_ask(work, text, understood)
    if wish is not None:
        ask_wish(work, wish)
        return
    _next(work, understood)


def _wish_to_ask(work: Work, text: str, understood: Understood) -> str | None:
    """What the message seems to ask for, though not plainly; None while it answers something, or says something else more plainly."""
    pending = work.conversation.pending
    if understood.answered or (pending is not None and pending.kind in ASIDE):
        return None
    chances = leanings(text)
    if chances["stop"] >= (WEIGHTY if understood.anything else WORTH_ASKING):
        return "stop"
    return "person" if chances["person"] >= WORTH_ASKING else None


def _next(work: Work, understood: Understood) -> None:
    """Settle what was open with what was heard, then go on."""
    pending = work.conversation.pending
    kind = pending.kind if pending is not None else None
    heard = understood.heard
    if _missed_change(pending, understood):
        _not_understood(work, "not_understood")
        return
    if kind not in ("question", "confirm", "change", "story", None) and heard.choice:
        work.change(misses=0)
        take_choice(work, heard.choice)
        return
    if heard.facts or heard.ruled_out or understood.answered:
        work.change(misses=0)
        if understood.answered or kind != "question":
            _shop_helped(work)
            if kind == "recap":
                _recap_corrected(work)
                return
            work.change(pending=None)
        elif not (work.acks or work.echoed or work.corrected or work.dropped):
            work.acks.append(work.say("noted"))
        go_on(work)
    elif kind == "recap" and heard.reply in ("yes", "no"):
        agree(work) if heard.reply == "yes" else _recap_denied(work)
    elif kind == "decision" and heard.reply in ("yes", "no"):
        take_choice(work, "decision:accept" if heard.reply == "yes" else "decision:decline")
    elif kind is not None and kind.startswith("confirm_") and heard.reply in ("yes", "no"):
        take_choice(work, f"{kind}:{heard.reply}")
    elif (heard.correction and kind in ("question", "recap", "change") and _which_is_wrong(work)) or (
        kind == "question" and _check_lean(work, pending)
    ):
        return
    elif kind == "question" and understood.anything and _comes_again(work):
        _not_understood(work, "not_understood")
    elif understood.anything or kind in ("story", None):
        work.change(pending=None if kind in ("story", None) else pending)
        go_on(work)
    elif kind == "question" and heard.reply in ("yes", "no") and _which_then(work):
        several = pending is not None and bool(shown_items(pending, question_of(work, pending)))
        work.change(misses=0)
        reask(work, work.say("pick_which" if several else "pick_one"), tries=1)
    else:
        _not_understood(work, "not_understood")


def _check_lean(work: Work, pending: Pending | None) -> bool:
    """An answer that was only guessed at is asked back at once, instead of saying that it was not understood."""
    question = question_of(work, pending)
    if question is None or question.several or question.tier == "safety":
        return False
    asked = [
        each
        for each in work.conversation.proposals
        if each.fact in question.fills and each.fact not in work.facts
    ]
    if asked:
        check(work, asked[0], Because("check"))
    return bool(asked)


def _which_is_wrong(work: Work) -> bool:
    """A correction whose words were not understood: what was said last is asked again, or picked from when it was several facts."""
    entries = {
        fact: entry
        for fact, entry in sorted(work.facts.items())
        if entry.is_known
        and entry.source in ("text", "tap")
        and work.fact(fact).role not in ("story", "hazard")
    }
    if not entries or work.conversation.misses + 1 >= MOST_MISSES:
        return False
    latest = max(entry.at for entry in entries.values())
    last = [fact for fact, entry in entries.items() if entry.at == latest and entry.certainty >= SURE]
    value = entries[last[0]].value if len(last) == 1 else None
    work.change(misses=work.conversation.misses + 1)
    work.note("correction_unclear", facts=last)
    if value is not None and not work.fact(last[0]).personal:
        check(work, Proposal(last[0], value, 1.0), Because("check"))
    else:
        show_recap(work, "recap_wrong")
    return True


def _comes_again(work: Work) -> bool:
    """Whether the open question would be the next one again, with nothing heard but guesses that are not worth asking."""
    decision, pending = decide(work), work.conversation.pending
    return isinstance(decision, Ask) and pending is not None and decision.question.id == pending.question


def _which_then(work: Work) -> bool:
    """Whether a bare yes or no, which picks none of the choices, still answers half: yes, one of them. Once a question."""
    pending = work.conversation.pending
    expecting, question = expecting_of(work, pending), question_of(work, pending)
    if question is not None and question.several:
        return pending is not None and not pending.tries
    return (
        expecting is not None
        and pending is not None
        and not pending.tries
        and reads_as_yes_no(expecting.options)
    )


def _missed_change(pending: Pending | None, understood: Understood) -> bool:
    """A value to be changed was asked for and something else was heard: the question stays, else the talk goes in circles."""
    asked_back = (
        pending is not None and pending.because is not None and pending.because.reason == "asked_back"
    )
    return asked_back and not understood.answered


def _recap_corrected(work: Work) -> None:
    """A correction on the recap is applied, said, and the list shown once more (unless a new question came up)."""
    work.change(pending=None)
    go_on(work)


def _recap_denied(work: Work) -> None:
    """A bare no to the list: what is wrong is asked; the third in a row goes to a person."""
    misses = work.conversation.misses + 1
    work.change(misses=misses)
    if misses >= MOST_MISSES:
        hand_off(work, "not_understood", text_key="handover_not_understood")
    else:
        show_recap(work, "recap_wrong")


def _shop_helped(work: Work) -> None:
    """One kind clause a talk when a shop's earlier try is told."""
    told = any(
        work.family.facts[line.fact].role == "attempt" and line.value == "shop"
        for line in work.heard
        if line.fact in work.family.facts
    )
    if told:
        _empathise(work)


def _empathise(work: Work) -> None:
    if not work.conversation.empathy_said:
        work.change(empathy_said=True)
        work.acks.insert(0, work.say("empathy"))


def _keep_story(work: Work, text: str) -> None:
    """The first message with content is kept as the story, in the customer's own words."""
    fact = role_fact(work, "story")
    pending = work.conversation.pending
    if fact is None or fact in work.facts or pending is None or pending.kind != "story":
        return
    words = readable(text).strip()[:STORY_CHARACTERS]
    if words:
        enter(work, fact, words, status="heard", source="text")


def _contact(work: Work, text: str) -> None:
    """Only hazards and contact are read from a contact message; street names are no symptoms."""
    if read_contact(work, readable(text)):
        work.change(misses=0, pending=None)
        check_contact(work)
    else:
        _not_understood(work, "not_understood")


def _note_language(work: Work, text: str) -> str:
    """The language to read a message in: the talk's own, or another shipped one when the words are clearly of that.

    Messages in a row in the other one are counted; after two, going on in it is offered.
    """
    own, seen = work.conversation.locale, work.conversation.foreign
    locale = _language_of(work, text)
    if locale is None:
        return own
    if locale == own:
        work.change(foreign=None)
        return own
    work.change(foreign=(locale, seen[1] + 1 if seen is not None and seen[0] == locale else 1))
    return locale


def _language_of(work: Work, text: str) -> str | None:
    """The shipped language with most of its everyday words in the text; None when that is not clear."""
    words = set(key(text).split())
    counts = []
    for locale in work.definitions.locales:
        texts = Texts(work.definitions, None, locale)
        everyday = {
            texts.say("control.common_words", index)
            for index in range(texts.wordings("control.common_words"))
        }
        counts.append((len(words & everyday), locale))
    counts.sort(reverse=True)
    if counts[0][0] < 2 or (len(counts) > 1 and counts[0][0] == counts[1][0]):
        return None
    return counts[0][1]


def _offer_language(work: Work, understood: Understood) -> None:
    foreign = work.conversation.foreign
    if understood.answered:
        work.change(pending=None)
    if foreign is not None:
        say_both_languages(work, foreign[0])
        work.change(foreign=(foreign[0], 0))


def _not_understood(work: Work, text_key: str) -> None:
    """Rephrase, then numbered choices, then move on; the third miss in a row goes to a person."""
    pending = work.conversation.pending
    misses = work.conversation.misses + 1
    tries = (pending.tries if pending is not None else 0) + 1
    work.change(misses=misses)
    work.note("not_understood", tries=tries, misses=misses)
    if misses >= MOST_MISSES:
        hand_off(work, "not_understood", text_key="handover_not_understood")
        return
    if pending is not None and pending.kind == "story" and tries >= 2:
        work.change(pending=None)
        work.acks.append(work.say(text_key))
        go_on(work)
    elif pending is not None and pending.kind == "question" and tries >= MOST_MISSES:
        work.change(pending=None, skipped=(*work.conversation.skipped, pending.question or ""))
        work.note("moved_on", question=pending.question)
        work.acks.append(work.say("moved_on"))
        go_on(work)
    else:
        pick = tries >= 2 and pending is not None and bool(pending.offered)
        reask(work, work.say("not_understood_pick" if pick else text_key), tries=tries)


def take_tap(work: Work, value: str) -> None:
    if _silenced(work, value == "go_on"):
        return
    if value == "go_on":
        opt_in(work) if work.conversation.consent == "opted_out" else resume(work)
        return
    if work.conversation.floor == "person" and not (_answers_aside(work) and value.startswith("confirm_")):
        take_choice_quietly(work, value)
        return
    if work.conversation.floor == "paused":
        restore_floor(work)
    work.change(misses=0)
    take_choice(work, value[:200])


def take_choice_quietly(work: Work, value: str) -> None:
    """A tap while a person has the floor: the facts land, nothing is asked."""
    before = work.conversation
    take_choice(work, value[:200])
    floor_kept = replace(
        work.conversation, pending=before.pending, held=before.held, asked=before.asked, phase=before.phase
    )
    work.conversation = floor_kept
    work.replies = [reply for reply in work.replies if reply.kind in ("safety", "handover")]
    work.effects = [StaffToSee("choice")]
    if not work.replies:
        _say_waiting(work)
