"""The talk: state, events, one turn, grounding, wording, rendering. Pure.

`advance` is the only way a conversation changes. See `engine`.
"""

from intakebot.conversation.assessor import Assessor, Outlook, QuestionWorth, Worths
from intakebot.conversation.engine import advance, open_conversation, recap
from intakebot.conversation.events import (
    ChoiceTaken,
    EstimateDecided,
    EstimateRevised,
    Event,
    FactsEntered,
    GivenBack,
    MessageReceived,
    PhaseMoved,
    PhotoAdded,
    StaffReplied,
    TakenOver,
)
from intakebot.conversation.join import issue_join_code, redeem_join_code
from intakebot.conversation.recap import RecapLine
from intakebot.conversation.rendering import plain_text, sms_parts, sms_text
from intakebot.conversation.state import Because, Conversation, FactEntry, JoinCode, Pending, Proposal
from intakebot.conversation.turn import (
    DecideEstimate,
    Effect,
    EraseEverything,
    FloorReturned,
    HandOff,
    HandOffCard,
    HeardFact,
    LogEntry,
    MakeEstimate,
    OptIn,
    OptOut,
    Reply,
    ReplyChoice,
    StaffToSee,
    Turn,
)

__all__ = [
    "Assessor", "Because", "ChoiceTaken", "Conversation", "DecideEstimate", "Effect", "EraseEverything",
    "EstimateDecided", "EstimateRevised", "Event", "FactEntry", "FactsEntered", "FloorReturned", "GivenBack",
    "HandOff", "HandOffCard", "HeardFact", "JoinCode", "LogEntry", "MakeEstimate", "MessageReceived", "OptIn",
    "OptOut", "Outlook", "Pending", "PhaseMoved", "PhotoAdded", "Proposal", "QuestionWorth", "RecapLine", "Reply",
    "ReplyChoice", "StaffReplied", "StaffToSee", "TakenOver", "Turn", "Worths", "advance", "issue_join_code",
    "open_conversation", "plain_text", "recap", "redeem_join_code", "sms_parts", "sms_text",
]  # fmt: skip
