"""English: contractions, stems, numbers, denials, hedges, who, and the words for time and money."""

from __future__ import annotations

from functools import lru_cache

from intakebot.understanding.language import Language

_AUXILIARIES = (
    ["is", "are", "was", "were", "do", "does", "did", "have", "has", "had", "can", "could", "will", "would", "should", "must", "need", "might"]
)  # fmt: skip


def _expansions() -> dict[str, tuple[str, ...]]:
    """Contractions with, without and with a misplaced apostrophe, and common chat spellings."""
    table: dict[str, tuple[str, ...]] = {}
    bases = {word: word for word in _AUXILIARIES} | {"wo": "will", "ca": "can", "sha": "shall", "ai": "is"}
    for written, base in bases.items():
        for form in (f"{written}n't", f"{written}nt", f"{written}'nt", f"{written}n'"):
            table[form] = (base, "not")
    for form in ("cant", "can't", "cannot", "cnt", "carnt", "can'", "cannt", "caint"):
        table[form] = ("can", "not")
    for form in ("wont", "won't", "wo'nt", "wouldnt", "woudnt", "wudnt", "wnt", "wont'", "willnt"):
        table[form] = ("will", "not")
    for form in ("dosnt", "dosent", "doesent", "doesn", "dosen't", "dosn't", "dusnt", "doesnot", "dont", "donot", "dnt", "dosnot", "doens't",
                 "doensnt", "doenst", "dont't", "doesnn't", "doesn'", "duznt", "dosen", "does'nt", "doesn't", "doesnt", "dosent't"):  # fmt: skip
        table[form] = ("does", "not")
    for form in ("isnt", "isn't", "aint", "ain't", "int", "isn"):
        table[form] = ("is", "not")
    for form in ("didnt", "didn't", "didn", "dident", "diddnt"):
        table[form] = ("did", "not")
    for form in ("havent", "haven't", "haven", "hasnt", "hasn't", "hasn", "havnt", "hadnt", "hadn't"):
        table[form] = ("have", "not")
    for form in ("couldnt", "couldn't", "couldn", "cudnt", "coudnt"):
        table[form] = ("could", "not")
    for form in ("wasnt", "wasn't", "wasn", "werent", "weren't"):
        table[form] = ("was", "not")
    for pronoun in (
        "i",
        "you",
        "he",
        "she",
        "it",
        "we",
        "they",
        "that",
        "there",
        "what",
        "who",
        "here",
        "where",
        "how",
    ):
        table[f"{pronoun}'s"] = (pronoun, "is")
        table[f"{pronoun}'ve"] = (pronoun, "have")
        table[f"{pronoun}'re"] = (pronoun, "are")
        table[f"{pronoun}'ll"] = (pronoun, "will")
        table[f"{pronoun}'d"] = (pronoun, "had")
    table |= {
        "i'm": ("i", "am"), "im": ("i", "am"), "ive": ("i", "have"), "youve": ("you", "have"), "weve": ("we", "have"),
        "theyve": ("they", "have"), "thats": ("that", "is"), "theres": ("there", "is"), "whats": ("what", "is"),
        "ther": ("there",), "thier": ("their",), "its": ("it", "is"), "it's": ("it", "is"), "itll": ("it", "will"), "itd": ("it", "had"),
        "let's": ("let", "us"), "gonna": ("going", "to"), "wanna": ("want", "to"), "gotta": ("got", "to"),
        "dunno": ("do", "not", "know"), "idk": ("i", "do", "not", "know"), "dno": ("do", "not", "know"), "gimme": ("give", "me"),
        "u": ("you",), "ur": ("your",), "r": ("are",), "pls": ("please",), "plz": ("please",), "thx": ("thanks",),
        "coz": ("because",), "cos": ("because",), "cuz": ("because",), "bcos": ("because",), "bc": ("because",), "becuase": ("because",),
        "w": ("with",), "w/": ("with",), "wo": ("without",), "w/o": ("without",), "wot": ("what",), "wen": ("when",), "abt": ("about",),
        "b4": ("before",), "thru": ("through",), "tho": ("though",), "nowt": ("nothing",), "summat": ("something",), "sumthing": ("something",),
        "alot": ("a", "lot"), "atall": ("at", "all"), "aswell": ("as", "well"), "eachother": ("each", "other"),
        "imho": ("i", "think"), "imo": ("i", "think"), "tbh": (), "lol": (), "omg": (), "btw": (), "fyi": (), "asap": ("soon",),
        "noone": ("nobody",), "no-one": ("nobody",), "kinda": ("kind", "of"), "sorta": ("sort", "of"), "outta": ("out", "of"),
        "shouldve": ("should", "have"), "couldve": ("could", "have"), "wouldve": ("would", "have"),
        "should've": ("should", "have"), "could've": ("could", "have"), "would've": ("would", "have"), "must've": ("must", "have"),
        "pc's": ("pcs",), "nt": ("not",), "n't": ("not",), "&": ("and",), "+": ("and",), "n": ("and",), "'n": ("and",),
    }  # fmt: skip
    return table


_KEEP = frozenset(
    [
        "this",
        "his",
        "is",
        "was",
        "as",
        "us",
        "yes",
        "has",
        "does",
        "its",
        "always",
        "less",
        "unless",
        "perhaps",
        "bus",
        "gas",
        "plus",
        "lens",
        "during",
        "thing",
        "nothing",
        "something",
        "anything",
        "everything",
        "string",
        "spring",
        "bring",
        "ring",
        "king",
        "red",
        "bed",
        "need",
        "speed",
        "feed",
        "seed",
        "shed",
        "used",
        "bluray",
    ]
)
_IRREGULAR = {
    "stuck": "stuck", "broken": "broken", "broke": "broken", "busted": "broken", "gone": "go", "went": "go", "goes": "go", "going": "go",
    "made": "make", "makes": "make", "making": "make", "came": "come", "comes": "come", "coming": "come", "heard": "hear",
    "bought": "buy", "spun": "spin", "took": "take", "taken": "take", "taking": "take", "gave": "give", "giving": "give", "given": "give",
    "said": "say", "says": "say", "sais": "say", "told": "tell", "saw": "see", "seen": "see", "sees": "see", "seeing": "see", "kept": "keep",
    "fell": "fall", "fallen": "fall", "felt": "feel", "spilt": "spill", "dropt": "drop", "burnt": "burn", "smelt": "smell",
    "shuts": "shut", "shutting": "shut", "dies": "die", "died": "die", "dying": "die", "froze": "freez", "frozen": "freez",
    "lost": "lose", "loses": "lose", "losing": "lose", "left": "left", "thrown": "throw", "threw": "throw", "spat": "spit",
    "got": "get", "gets": "get", "getting": "get", "gotten": "get", "tried": "try", "tries": "try", "trying": "try", "lies": "lie",
    "did": "do", "does": "do", "done": "do", "doing": "do", "has": "have", "had": "have", "having": "have", "is": "be", "are": "be",
    "was": "be", "were": "be", "been": "be", "being": "be", "am": "be", "stopped": "stop", "stops": "stop", "moved": "mov",
    "sounds": "sound", "noises": "noise", "noise": "noise", "lenses": "lens", "children": "child", "kids": "kid", "ran": "run", "taking out": "take",
    "sent": "send", "put": "put", "puts": "put", "putting": "put", "let": "let", "lets": "let", "knew": "know", "known": "know", "knows": "know",
    "shook": "shake", "wet": "wet", "woke": "wake", "shone": "shine", "swollen": "swollen", "swelled": "swollen", "lit": "light", "lights": "light",
    "disk": "disc", "disks": "disc", "diskette": "disc", "discs": "disc", "disc's": "disc", "worse": "worse", "worst": "worse",
    "tape": "tape", "tapes": "tape", "taping": "tape", "taped": "tape", "note": "note", "notes": "note", "care": "care", "here": "here", "wine": "wine",
    "bite": "bite", "plane": "plane", "none": "none", "hope": "hope", "site": "site", "hate": "hate", "rate": "rate", "colour": "color", "colours": "color",
}  # fmt: skip
_IRREGULAR = {**{base: base for base in _IRREGULAR.values()}, **_IRREGULAR}
"""A stem that is itself a word stays as it is ("make")."""


@lru_cache(maxsize=16384)
def stem(word: str) -> str:
    """A light stem: plural, -ing, -ed and a final e are dropped; irregular forms come from a list."""
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    if word in _KEEP or len(word) < 4 or not word.isalpha():
        return (
            word[:-1]
            if len(word) == 3 and word.endswith("s") and word[0] not in "aeiou" and word not in _KEEP
            else word
        )
    for ending in ("ising", "ised", "ises", "ise"):
        if len(word) > len(ending) + 3 and word.endswith(ending.replace("s", "z", 1)):
            word = word[: -len(ending)] + ending
    base = word
    if word.endswith("ies") or word.endswith("ied"):
        base = word[:-3] + "y"
    elif word.endswith("ing") and len(word) >= 6 and any(v in "aeiouy" for v in word[:-3]):
        base = _undouble(word[:-3])
    elif word.endswith("ed") and len(word) >= 5 and any(v in "aeiouy" for v in word[:-2]):
        base = _undouble(word[:-2])
    elif word.endswith(("ses", "xes", "zes", "ches", "shes")) and len(word) >= 5:
        base = word[:-2]
    elif word.endswith("ie"):
        base = word[:-2] + "y"
    elif word.endswith("s") and not word.endswith(("ss", "us", "is")):
        base = word[:-1]
    return base[:-1] if base.endswith("e") and len(base) >= 4 else base


def _undouble(base: str) -> str:
    return base[:-1] if len(base) > 3 and base[-1] == base[-2] and base[-1] not in "lsz" else base


# fmt: off
ENGLISH = Language(
    locale="en",
    spelling="en",
    stem=stem,
    irregular=frozenset(_IRREGULAR),
    expansions=_expansions(),
    fillers=frozenset(
        ["a", "an", "the", "my", "our", "your", "his", "her", "their", "this", "that", "these", "those", "any", "of", "it's", "its", "itself", "even", "just", "really", "actually", "still", "also", "always", "quite", "very", "simply", "basically", "completely", "totally", "properly", "correctly", "currently", "now", "again", "suddenly", "somehow", "at", "all", "anymore", "more", "own", "old", "new", "little", "bit", "so", "please", "kind", "sort", "like", "bloody", "damn", "flipping", "literally", "well", "already", "either", "ever", "yet", "both", "it", "older", "newer", "other", "normal", "regular", "standard", "most", "rather", "pretty", "too", "absolutely", "be", "do", "have", "will", "would", "can", "could", "constantly", "continually", "suddenly", "recently", "lately", "today", "yesterday", "only", "fully", "full", "normally", "usually", "seemingly", "apparently"]
    ),
    breaks=frozenset(["but", "however", "though", "although", "because", "then", "so", "while", "whereas", "except", "since", "until", "otherwise", "yet", "which", "plus"]),
    joins=frozenset(["and", "or", "nor", "/", "&"]),
    negators=frozenset(["no", "not", "never", "without", "none", "neither", "nor", "nothing", "nobody", "zero", "hardly", "nae"]),
    modal_negators=frozenset(
        (modal, "not") for modal in ("can", "could", "will", "would")
    ),
    perception=frozenset(["hear", "heard", "see", "smell", "notice", "detect", "feel", "find", "make", "pay", "spend"]),
    scope_ends=frozenset(["just", "only", "instead", "rather", "except", "apart"]),
    subjects=frozenset(["i", "it", "you", "he", "she", "we", "they", "the", "my", "there"]),
    hedges={
        "i think": 0.7, "i believe": 0.75, "i guess": 0.6, "i suppose": 0.6, "i suspect": 0.65, "i assume": 0.65, "i reckon": 0.7,
        "maybe": 0.55, "perhaps": 0.55, "might": 0.5, "possibly": 0.5, "probably": 0.7, "could be": 0.5, "may be": 0.55, "may have": 0.55,
        "could have": 0.5, "must have": 0.7, "should be": 0.7, "supposedly": 0.6, "apparently": 0.75, "seems": 0.8, "seem": 0.8,
        "seemed": 0.8, "appears": 0.8, "not sure": 0.5, "not certain": 0.5, "not 100": 0.6, "as far as i know": 0.75,
        "as far as i can tell": 0.75, "if i remember": 0.65, "pretty sure": 0.85, "fairly sure": 0.8, "almost sure": 0.85,
        "i am told": 0.75, "says it": 0.8, "presumably": 0.65, "likely": 0.7, "looks like": 0.75, "sort of": 0.75, "kind of": 0.75,
        "guessing": 0.6, "afaik": 0.75, "i imagine": 0.6, "i would say": 0.75,
    },
    cues={
        "hypothetical": (
            "if", "unless", "in case", "in the event", "what happens when", "suppose", "assuming", "worried that", "worried it", "afraid that", "afraid of", "scared of",
            "so it does not", "so that it does not", "would not want", "i|we|you do not want", "hope it does not", "rather than", "instead of",
        ),
        "factual_if": (
            "if|when i|we|you put|insert|load|press|push|hit|play|try|turn|switch|plug|tap|shake|bang|tilt|touch|open|close|leave|unplug|wiggle|hold|pop|slide|feed", "if it get", "if it is warm|hot|cold",
        ),
        "question_openers": (
            "is it", "is the", "is this", "is opening|cleaning|replacing|taking", "is that", "is there", "are the", "are you", "could it be", "could it", "could the", "could this", "can it be", "might it", "would it", "would a", "will it", "will the",
            "should i", "shall i", "should we", "do i need", "do i have", "do you need", "do you think", "does it need", "does that mean", "does it matter", "can i", "could i", "may i", "am i",
            "may it", "has it", "was it", "do they", "what if", "would you", "wonder if", "wondering if", "wonder whether", "wondering whether", "is my", "was the",
        ),
        "request_openers": ("can you", "could you", "do you", "will you", "are you able", "would you be able", "you able"),
        "listed_result": ("yes", "yep", "no", "nope", "not", "never", "fine", "ok", "okay", "good", "great", "perfect", "works", "plays", "reads", "loads", "fails", "dead", "nothing", "nada", "none", "untested", "unknown", "same", "ditto", "also", "all", "both", "still", "will", "does", "do", "won't", "mostly", "error", "unreadable", "refused", "skips", "freezes"),
        "pause": ("one|a|just|half moment|second|sec|minute|min|mo|tick [please]", "hold|hang on", "give me a|one|two moment|second|sec|minute|min|minutes|seconds", "bear with me"),
        "universal": ("nothing",),
        "relative_pronoun": ("that", "which", "who"),
        "relative": ("that", "which", "who", "with", "where"),
        "unsure_whether": (
            "not sure if", "not sure whether", "not sure that", "do not know if", "do not know whether", "no idea if", "no idea whether", "unsure if",
            "unsure whether", "not certain if", "not certain whether", "can not tell if", "can not tell whether", "can not say if", "can not remember if",
            "do not remember if", "not know if", "not know whether", "could not tell if", "could not say if", "not sure about", "have not checked if",
            "have not checked whether", "have not tested if", "can not remember whether", "do not think i know if", "no clue if", "not sure who",
        ),
        "past": (
            "used to", "was working", "worked fine before", "was fine before",
            "had been working", "was working fine", "has always worked",
            "had always worked", "always worked", "worked fine for",
        ),
        "elsewhere": (
            "my other", "our other", "the other one", "other players", "other machines", "other consoles", "other devices", "my old one", "my previous", "my last one",
            "the replacement one", "the previous one", "my first one", "all the others", "the other two|three|ones", "my|our|the|his|her second|spare|previous|former|other one|{otherdevice}", "other two|three are|work|play", "my|our last {otherdevice}", "old {otherdevice} =overheated|=died|=broke|=had|=got|=went|=packed|=smoked", "my|our old one =was|=had|=did|=got|=died|=broke|=went",
        ),
        "correction": (
            "actually", "i meant", "i mean", "sorry i", "scratch that", "correction", "no wait", "wait no", "my mistake", "i was wrong", "not true",
            "that is wrong", "that was wrong", "ignore that", "let me correct", "rather i", "on second thought", "on second thoughts", "strike that",
            "come to think of it", "i misspoke", "typo", "change that", "oops", "i got that wrong", "that is not right", "i said",
        ),
        "intention": (
            "going to", "want to", "wanted to", "would like to", "thinking of", "thinking about", "planning to", "plan to", "about to", "tempted to",
            "should i", "could i", "can i", "before i", "before we", "do i", "how to", "how do", "how can", "try to", "i could", "i can", "i would", "i will", "you to", "could you", "can you",
            "will you", "would you", "do you", "please", "need to", "needs to", "have to", "needs", "needing", "might need", "cost to", "price to", "quote to", "price for", "quote for", "cost of", "can be",
            "could be", "to be", "someone to", "somebody to", "you can", "want it", "get it", "need it", "for a", "does it need", "probably needs", "require", "requires", "must be",
        ),
        "attempted": ("tried to", "tried", "attempted to", "attempted", "managed to", "try"),
        "who.owner": ("i", "we", "me", "myself", "ourselves", "my own", "us"),
        "who.friend": (
            "my|our|her|his lad|boy|girl|bloke|nan|gran|teenager|eldest|youngest|landlord|boss|lodger", "stepfather", "stepmother", "nan", "godson", "room mate", "in laws", "mate of mine", "friend", "friends", "mate", "mates", "brother", "sister", "dad", "father", "mum", "mom", "mother", "husband", "wife", "son", "daughter", "uncle", "aunt", "cousin", "nephew",
            "neighbour", "neighbor", "boyfriend", "girlfriend", "partner", "colleague", "grandson", "grandad", "grandpa", "roommate", "flatmate", "housemate",
            "buddy", "pal", "co worker", "coworker", "kid", "brother in law", "fella", "other half", "hubby", "bloke i know", "guy i know", "a lad i know", "guy|bloke|man|lad|chap|fella|someone|somebody i know", "=ex", "ex wife|husband|boyfriend|girlfriend|partner", "niece", "stepson", "stepdad", "stepbrother", "father in law", "sister in law", "son in law", "grandfather", "granny", "grandma", "gran", "lodger", "workmate", "classmate", "fiance", "missus", "the wife", "mate|friend|pal of mine|his|hers|ours|my", "lad next door", "bloke|man|guy next door", "relative", "cousins", "girl i know", "chum", "acquaintance", "handyman|engineer friend|neighbour", "folks",
        ),
        "who.shop": (
            "shop", "shops", "store", "repairer", "repair place", "technician", "tech", "engineer", "repairman", "repair man", "repair guy", "repair centre", "repair center", "service centre",
            "service center", "workshop", "professional", "professionals", "manufacturer", "the maker", "maker's service", "repair company", "dealer", "electrician",
            "specialist", "phone place", "local place", "repair cafe", "repair bloke", "repair people", "mender", "a place", "this place", "another place", "high street", "market stall", "stall", "expert", "pro", "repair service", "service", "place in|on town|line|the", "a place", "fixer", "repair firm", "firm", "tv man|repairman|shop", "hifi|electronics|computer|phone|game|games shop|store|place|guy|man", "repairers", "technicians", "engineers",
        ),
        "who.someone": (
            "previous owner", "last owner", "prior owner", "someone", "somebody", "seller", "the guy", "a guy", "they", "he", "she", "whoever", "the man", "some guy", "some bloke", "a bloke", "a man", "a lad", "a chap", "first owner", "person i bought",
            "one before me", "owner before", "other people", "anyone", "previous|former|last|prior one|owner|owners|user|person|people", "whoever had|owned", "a|some stranger", "another person", "people before|i bought", "lad|guy|bloke|man|person i|who|on", "second|last hand owner", "someone else", "a customer", "a student",
        ),
        "who.nobody": ("nor anyone|anybody else", "not anyone|anybody", "nobody", "no one", "noone", "no body", "never been", "not been", "none of us", "neither of us"),
        "passive": ("was", "been", "got", "were", "had it", "have had it", "got it", "had the", "have had the", "has had", "is", "had a", "be"),
        "yes": (
            "yes", "yep", "yeah", "yea", "yup", "ya", "y", "ye", "yess", "yes please", "sure", "sure thing", "correct", "right", "that is right", "that's right", "exactly", "indeed", "definitely", "absolutely",
            "of course", "affirmative", "ok", "okay", "it does", "it is", "it has", "it did", "it was", "i did", "i have", "i do", "they do", "they are", "there is", "there was", "i think so", "i believe so",
            "aye", "true", "always", "most definitely", "for sure", "certainly", "spot on", "yh", "yeh", "yes it does", "yes i did", "it will", "i am", "we did", "we have", "afraid so", "unfortunately yes",
            "👍", "uh huh", "mhm", "very much so", "totally", "probably", "probably yes", "i guess so", "i suppose so", "should be", "guess so", "sounds right",
        ),
        "no": (
            "no", "nope", "nah", "n", "na", "not", "never", "none", "not at all", "no way", "negative", "it does not", "it is not", "it has not", "it did not", "it was not", "i did not", "i have not", "i do not", "they do not",
            "they are not", "there is not", "there was not", "do not think so", "i do not think so", "not really", "not that i know", "not that i know of", "not as far as i know", "not to my knowledge", "nothing", "wrong", "incorrect", "no thanks",
            "no thank you", "nobody", "no one", "neither", "nae", "noo", "nop", "not yet", "not quite", "it will not", "it can not", "we did not", "we have not", "false", "👎", "absolutely not", "definitely not",
            "certainly not", "of course not", "no chance", "i am not", "nay", "not likely", "doubt it", "i doubt it", "hardly",
        ),
        "not_known": (
            "do not know", "not sure", "no idea", "no clue", "unsure", "not certain", "can not say", "can not tell", "could not say", "could not tell", "can not remember", "do not remember", "no thoughts",
            "i have no idea", "who knows", "have not checked", "have not tried", "have not tested", "never tried", "never checked", "not tried", "hard to say", "hard to tell", "do not recall", "can not recall", "beats me", "search me", "not tested", "not checked",
            "your guess is as good as mine", "?", "??", "???", "unknown", "not a clue", "haven't a clue", "have not a clue", "haven't the foggiest", "god knows", "no clue sorry", "could be either", "might be", "maybe", "perhaps", "possibly", "dk", "not known",
            "i would not know", "would not know", "did not notice", "did not check", "never noticed", "have not noticed", "have not looked", "difficult to say", "impossible to say", "forgot", "i forget", "no way of knowing", "not familiar",
        ),
        "declined": (
            "rather not say", "prefer not to say", "do not want to say", "would rather not", "will not say", "none of your business", "not telling", "no comment", "private", "prefer not to",
            "do not want to tell", "not going to tell", "i would rather not", "that is private", "not giving you that", "not saying", "pass",
        ),
        "limit": (
            "max", "maximum", "up to", "nothing over", "nothing more than", "no more than", "not more than", "at most", "limit", "budget", "under", "below", "less than", "top whack", "spend", "not over", "tops", "cap", "capped", "within", "wont pay more than",
            "will not pay more than", "not pay more than", "do not want to pay more than", "happy to pay", "willing to pay", "can afford", "ceiling", "not spend more than", "go as high as", "go up to",
        ),
        "worth": ("worth", "value", "valued at", "paid", "cost me", "cost new", "bought it for", "replacement costs", "new one costs", "new one is", "a new one would be"),
        "agent": ("by",),
        "pronoun": ("they", "he", "she", "him", "them"),
        "young": ("boy", "girl", "kid", "child", "toddler", "grandson", "granddaughter", "baby", "son", "daughter"),
        "deadline": (
            "by", "before", "until", "no later than", "need it", "needed", "deadline", "in time for", "ready for", "back for", "latest", "due", "need this", "want it back", "must have it",
        ),
        "approx": ("about", "around", "roughly", "approx", "approximately", "nearly", "almost", "ish", "maybe", "or so", "over", "more than", "at least", "somewhere around"),
        "age": ("old", "bought", "purchased", "got it", "owned", "had it", "have had", "had this", "age", "from", "since", "new in", "own it", "made in", "manufactured", "ago"),
        "lead_in": ("my name is", "the name is", "name is", "it is called", "it is a", "it is an", "it is the", "it is", "the model is", "model is", "model number is", "i am", "called", "it says", "the label says", "label says", "that is", "this is", "it reads", "the title is", "it would be"),
    },
    numbers={word: value for value, word in enumerate(
        ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
    )} | {"a": 1, "an": 1, "couple": 2, "pair": 2, "dozen": 12, "both": 2, "single": 1},
    ordinals={word: value for value, word in enumerate(["first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth"], 1)} | {"last": -1},
    tens={word: 10 * value for value, word in enumerate(["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"], 2)} | {"hundred": 100, "thousand": 1000, "fourty": 40},
    fractions={"half": "0.5"},
    units={
        "year": "years", "years": "years", "yr": "years", "yrs": "years", "month": "months", "months": "months", "mth": "months", "mths": "months", "week": "weeks", "weeks": "weeks", "wk": "weeks", "wks": "weeks",
        "day": "days", "days": "days", "hour": "hours", "hours": "hours", "minute": "minutes", "minutes": "minutes", "min": "minutes", "mins": "minutes", "decade": "decades", "decades": "decades",
    },
    months={name: number for number, names in enumerate(
        ("january jan", "february feb", "march mar", "april apr", "may", "june jun", "july jul", "august aug", "september sep sept", "october oct", "november nov", "december dec"), 1
    ) for name in names.split()},
    weekdays={name: number for number, names in enumerate(
        ("monday mon", "tuesday tue tues", "wednesday wed weds", "thursday thu thur thurs", "friday fri", "saturday sat", "sunday sun")
    ) for name in names.split()},
    currencies={"£": "GBP", "pound": "GBP", "pounds": "GBP", "quid": "GBP", "gbp": "GBP", "$": "USD", "dollar": "USD", "dollars": "USD", "bucks": "USD", "usd": "USD", "€": "EUR", "euro": "EUR", "euros": "EUR", "eur": "EUR", "squid": "GBP"},
    day_words={"today": 0, "tomorrow": 1, "tmrw": 1, "tomorow": 1, "yesterday": -1, "tonight": 0},
    period_words={
        "next": "next", "this": "this", "coming": "next", "last": "last", "past": "last", "in": "in", "within": "in", "ago": "ago", "back": "ago", "end": "end", "of": "of", "the": "the", "weekend": "weekend", "christmas": "12-25", "xmas": "12-25", "new year": "01-01",
        "easter": "easter", "fortnight": "fortnight",
    },
    day_first=True,
    openings=frozenset(["um", "uh", "er", "erm", "hmm", "hm", "well", "oh", "ah", "so", "ok", "okay", "hi", "hello", "hey", "sorry", "thanks"]),
    after_reply=frozenset(
        ["i", "it", "we", "they", "he", "she", "you", "that", "this", "there", "the", "not", "never", "but", "just", "only", "sorry", "thanks", "thank", "mate", "sir", "and", "none", "nothing", "nope", "no", "yes", "my"]
    ),
    after_unsure=frozenset(["about", "anything", "tbh", "really", "honestly", "mate", "yet", "at", "for", "to", "on", "of", "sorry", "i", "it"]),
    position_words=frozenset(
        ["option", "number", "no", "choice", "answer", "nr", "the", "one", "i", "pick", "choose", "take", "please", "and", "or", "it", "is", "probably", "think", "would", "say", "st", "nd", "rd", "th"]
    ),
    phone_words=frozenset(["phone", "mobile", "cell", "number", "call", "ring", "text", "tel", "telephone", "whatsapp"]),
)
# fmt: on
