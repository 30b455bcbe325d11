"""Words of a language with which people answer, whatever the question. In the grammar of phrases.

The kinds can be named in the wordings of a family (`{like.fine}`). The reader itself acts on these only:
    like.yes, like.no       a yes or a no that is no plain word for it ("afraid so", "not once")
    like.formerly           once so, not now
    like.talk               says nothing
    like.partly             yes to some degree ("now and then"); answers only a yes/no fact
    like.unsure             cannot tell
    like.none               none of what was listed
    like.same               as with the last thing asked
"""

from __future__ import annotations

from collections.abc import Mapping

ENGLISH_WORDS: Mapping[str, tuple[str, ...]] = {
    "like.yes": (
        "afraid so", "fraid so", "i be afraid so", "i be afraid it do|be|have", "sadly yes", "unfortunately", "sadly", "regrettably", "it do once|twice|sometimes|often|before|then", "yes it do once",
        "once", "twice", "once or twice", "a couple of time", "a few time", "more than once", "several time", "many time", "a while ago", "ages ago", "long ago", "the other day", "last week|month|year",
        "every time", "each time", "all the time", "constantly", "always", "big time", "very much", "a lot", "loads", "too right", "of course", "certainly", "without doubt", "no doubt", "you bet",
        "sure do|be|have|did", "it sure do|be", "it should do|be", "i would say so", "i would think so", "i think it do|be|have|did", "i reckon so", "i reckon it do|be", "i expect so", "as far as i know yes", "most likely", "more than likely", "very likely",
        "think so", "think it do|be|did", "believe so", "seem so", "seem to", "seem like it", "looks like it", "appears so", "it would seem so", "apparently", "apparently so", "more or less", "pretty much", "right now it do|be", "that be right|correct|true|it", "that be the one",
        "that be the case", "that do happen", "happens", "it happens", "does that", "did that", "have done", "do have", "it can", "yes a bit", "yeah it do|be|did", "happy to", "i would like|love|prefer that", "would be good|great|nice|lovely|helpful", "that would be good|great|nice|lovely|helpful", "go on then", "why not", "by all means", "yes please do", "please do", "i would",
        "of late yes", "recently", "lately", "these days yes",
    ),
    "like.no": (
        "not at all", "not once", "not ever", "not that i know|see|notice|recall|remember|hear", "not that i know|think|hear of", "not that i have|can see|notice|hear|think", "not that i be aware", "not that i be aware of", "not that i can think of|see|tell|recall|remember|hear", "not as far as i can tell|see|know|remember", "not as far as i be aware|know|remember", "not as far as i know", "does not sound|look|seem like it", "do not sound|look|seem like it|so", "not to my knowledge|mind", "not that i be aware of", "not aware of any|it|that",
        "do not think so", "do not believe so", "would not say so", "not sure it ever did", "not in the slightest|least", "not a bit", "not even once|close|slightly", "not any more|longer", "no longer", "no more", "not now", "not really no", "thankfully not", "luckily not", "fortunately not", "thank god no",
        "god no", "heck no", "hell no", "no need", "no chance", "no way", "no never", "never ever", "never has|did|have|do", "never did|has|have", "it never did|has|have", "hasn't ever", "it does not", "they do not", "i did not", "we have not", "nope not once|ever", "nope not at all", "not so far", "not recently|lately", "not this time", "not necessary|needed|required", "not bothered", "do not bother", "i be fine thanks", "i be good thanks", "not me",
        "far from it", "quite the opposite", "on the contrary", "unlikely", "very unlikely", "hardly ever", "not likely", "probably not", "i hope not", "hope not", "i would not know how", "nothing like that", "none", "would rather not",
    ),
    "like.talk": ("to be honest", "to tell the truth", "as i said", "to be fair", "if i be honest", "believe it or not", "funny enough", "as it happens"),
    "like.formerly": ("used to", "it used to", "they used to", "it do once but not now", "in the past", "back then"),
    "like.partly": (
        "sometimes", "some times", "some of the time", "now and then", "now and again", "every now and then|again", "from time to time", "at times", "on and off", "off and on", "on occasion", "occasionally", "once in a while", "every so often", "every once in a while", "rarely", "rare", "seldom", "not often", "not always", "not every time", "not all the time", "mostly", "mainly", "most of the time", "usually", "often", "quite often", "very often", "frequently", "a lot of the time", "half the time",
        "a bit", "a little", "a little bit", "little bit", "a tiny bit", "bit", "only a bit|little", "just a bit|little", "slightly", "ever so slightly", "somewhat", "kind of", "sort of", "to some extent|degree", "partly", "in a way", "a touch", "faintly", "barely", "just about", "it varies", "depends", "it depends", "if i be lucky", "with luck", "intermittently", "sporadically", "a smidge", "quite a bit", "now and than",
    ),
    "like.unsure": (
        "could be", "it could be", "might be", "might have", "may have", "could have", "could have done", "might have done", "may well have", "it be possible", "possible", "possibly", "maybe", "perhaps", "not that sure", "not too sure", "not so sure", "not entirely sure", "not 100 sure", "not certain", "can not be sure|certain", "hard to say|tell|know|describe|explain|judge", "have not try|tried|test|tested", "never try|tried|test|tested", "do not know what|who|where|when|how|if|which|much", "not known", "difficult to say|tell", "who know", "anyone's guess", "your guess be as good as mine", "no clue|idea|notion",
        "could not tell|say", "could not tell you", "could not say", "can not tell|say|remember|recall|see", "can not see in", "can not be sure", "do not remember|recall|know", "never look|check|notice", "never thought about it|that", "never pay|paid attention", "never gave it any|a thought", "never really look|notice|check", "never really pay|paid attention", "have not look|check|notice|test", "have not pay|paid attention", "did not look|check|notice", "did not pay attention", "would have to look|check|see|ask|try|test", "i would need to look|check|see|ask|test", "need to check|look", "no way (to|of) (tell|check|know|test)", "not look|checked|check|tested", "will have to look|check|ask", "let me check",
        "beat me", "search me", "have not got a clue", "not got a clue", "pass", "dunno really", "no memory of that", "before my time", "it be before my time", "hard to know", "unclear", "depends who you ask", "i forget",
    ),
    "like.none": (
        "none", "none of that|those|these|them|it", "none of the above|list|lot", "none of these|those|that|them apply|happen|fit|here", "nothing happened to it", "nothing happen", "not any of those|these|that|them", "neither of those|these", "nothing", "nothing like that|this|those", "nothing of the sort|kind", "nothing weird|odd|strange|unusual|bad|dangerous|special|happen|here|serious|dramatic|wrong|scary|major|untoward", "nothing to report", "nothing at all", "nothing [that] i know|noticed|saw|see [of]", "nothing that|as i can think of", "no nothing", "no none", "all good", "all fine", "all ok|okay|well|clear|safe|normal", "everything be fine|good|ok|okay|normal", "it be all good|fine|ok", "be fine", "fine", "good", "be safe", "safe", "all safe", "no issues|problems|worries|trouble|hazards|danger",
        "no safety issues|problems|concerns", "not one", "not a single one", "not one of them|those|these", "no such thing", "zilch", "nada", "zero", "nowt", "nothing there", "not any", "all good on that front", "nope none", "nothing to worry about", "nothing scary", "no drama", "it do not apply", "does not apply", "not applicable", "n a", "no to all", "no to all of them|those|these|that", "all no", "no on all counts", "no across the board",
    ),
    "like.fine": (
        "fine", "ok", "okay", "alright", "all right", "good", "great", "perfect", "perfectly", "flawless", "flawlessly", "smooth", "smoothly", "normal", "normally", "no problem|problems|issue|issues|bother|trouble|complaints|drama", "no problem|issue|bother|trouble (there|with (that|those|them|it))", "without [a|any] problem|issue|hitch|trouble|fuss|bother", "not a problem|issue", "as normal|usual|always|expected|new", "as it|they should", "like normal|new|always|dream|charm|clockwork|butter", "just fine", "nicely", "properly", "correctly", "brilliant", "brilliantly", "spot on", "hunky dory", "a ok", "=works", "works fine", "be =working", "still =works|=working", "still fine", "no worries", "unaffected", "easy", "easily", "happily", "great", "faultless", "faultlessly", "like it should", "sound as a pound", "as it should",
    ),
    "like.bad": (
        "broken", "dead", "not working", "do not work", "does not work", "no good", "bad", "fail", "no luck", "no joy", "no chance", "not a chance", "rubbish", "hopeless", "useless", "nope", "no go", "nothing", "not a thing", "zilch", "nada", "nowt", "not any more|longer", "used to", "they used to", "no longer", "stopped", "not a sausage", "refuse", "awful", "terrible", "faulty", "knackered", "kaput", "gone", "not one", "not a single one", "error", "errors",
    ),
    "like.same": (
        "same", "the same", "same thing|problem|story|issue|again|fault|trouble|here|there|answer|result|deal|behaviour|behavior|error", "same (with|for|goes for) (those|them|that|these)", "same as before|above|that|those|other|others|last", "same problem|thing|error|issue|story with (those|them|that|these)", "same old story", "exactly the same", "just the same", "all the same", "likewise", "ditto", "as above", "as before", "no different", "not any different", "same goes for them|those|that", "them|those|these|that too", "those|them|they as well", "too", "as well", "identical", "similar", "same person|guy|bloke|man|one|shop|place", "also", "same difference",
    ),
    "like.untried": (
        "never try|tried", "not try|tried", "have not try|tried", "did not try|tried", "have not had the chance|one|any", "untested", "not test|tested", "never test|tested", "have not test", "have not get|got any|one", "do not have|own|get|got (any|one|those|them)", "do not have|own|got", "do not have any of those|them", "i have none", "have none", "got none", "none to test|try|hand", "none here", "no disc|cd|dvd|bluray|game|film|movie|one (here|to test|to try|at home|in house)", "have no disc|cd|dvd|bluray|game|film|movie|one", "own no disc|cd|dvd|bluray|game|film|movie|one", "do not have|own|get|got [any] disc|cd|dvd|bluray|game|film|movie", "have not [got] any [disc|cd|dvd|bluray|game|film|movie]", "have not got any|one|a", "none at home|hand", "none in the house", "none available", "never use|play|watch|buy|own|have [them|those|one|any|it]", "do not use|watch|buy|own (them|those|any|disc|cd|dvd|bluray|game|film|movie|one)", "never had one|any|a", "nothing to test|try [it] with", "have not one to hand|test", "not had one to hand|try", "no way to test|try", "not something we|i (use|have|own|play|watch)", "i have not got", "never watch|play|use|buy|own disc|cd|dvd|bluray|game|film|movie|one",
        "not test|try (yet|those|them)", "did not have one|any", "could not try|test",
    ),
}  # fmt: skip

GERMAN_WORDS: Mapping[str, tuple[str, ...]] = {
    "like.yes": (
        "leider", "leider ja|schon", "ja leider", "ja gern|gerne|bitte", "gern", "gerne", "einmal", "zweimal", "ein paar mal|male", "paarmal", "mehrmals", "schon mal", "schon oefter", "ja schon", "doch schon", "jedes mal", "jedesmal", "immer", "staendig", "dauernd", "andauernd", "die ganze zeit", "permanent", "sehr", "stark", "ziemlich", "auf jeden fall", "auf alle faelle", "aber ja", "aber sicher", "na klar", "klar", "logisch", "denke ja", "denke schon", "glaube ja", "ich glaub schon", "glaub schon", "vermutlich", "vermutlich ja|schon", "wahrscheinlich", "wahrscheinlich schon", "anscheinend", "scheint so", "sieht so aus", "sieht ganz so aus", "ich meine ja", "ich denke ja|schon", "muesste", "sollte", "muesste schon", "sollte schon", "so ist es|das", "das ist so", "das stimmt", "passiert", "kommt vor", "das tut es|er|sie", "tut es|er|sie", "macht es|er|sie", "vor kurzem", "neulich", "letzte woche", "letztes jahr", "oft", "sehr oft", "waere gut|nett|schoen|toll|super", "das waere gut|nett|schoen|toll|super", "warum nicht", "wuerde ich", "mehr oder weniger", "im grunde ja", "sozusagen", "habe ich", "haben wir", "hab ich gemacht", "habe ich gemacht|probiert|versucht", "schon gemacht|probiert|versucht",
    ),
    "like.no": (
        "nicht dass ich wuesste", "nicht das ich wuesste", "nicht dass ich weiss", "nicht dass mir etwas|was|irgendetwas aufgefallen [waere|ist]", "nicht dass mir aufgefallen waere", "mir nicht aufgefallen|bekannt", "nicht bekannt dass", "soweit ich weiss nicht", "meines wissens nicht", "glaube nicht", "glaub nicht", "denke nicht", "denke eher nicht", "eher nicht", "eher nein", "wohl nicht|kaum", "kaum", "so gut wie nie", "fast nie", "nie", "noch nie", "niemals", "kein einziges mal", "nicht ein mal", "kein bisschen", "ueberhaupt nicht", "gar nicht", "garnicht", "absolut nicht", "nicht im geringsten", "zum glueck nicht|nein", "gott sei dank nicht|nein", "nicht mehr", "jetzt nicht mehr", "nicht noetig", "unnoetig", "brauche ich nicht", "muss nicht sein", "lieber nicht", "hoffentlich nicht", "bisher nicht", "bis jetzt nicht", "noch nicht", "wahrscheinlich nicht", "vermutlich nicht", "im gegenteil", "auf keinen fall", "keinesfalls", "keineswegs", "nicht wirklich", "nicht direkt", "um gottes willen", "nichts dergleichen", "hab ich nicht", "habe ich nicht", "haben wir nicht",
    ),
    "like.talk": ("ehrlich gesagt", "um ehrlich zu sein", "sozusagen", "wie gesagt"),
    "like.formerly": ("frueher", "frueher schon|mal|ja", "damals"),
    "like.partly": (
        "manchmal", "ab und zu", "ab und an", "hin und wieder", "gelegentlich", "von zeit zu zeit", "mitunter", "zeitweise", "selten", "ganz selten", "eher selten", "nicht oft", "nicht immer", "nicht jedes mal", "meistens", "meist", "oft", "oefter", "oefters", "haeufig", "ein bisschen", "bisschen", "ein wenig", "wenig", "etwas", "leicht", "nur leicht|wenig|etwas|bisschen", "ein klein wenig", "minimal", "teilweise", "teils", "teils teils", "zum teil", "je nachdem", "kommt drauf an", "kommt darauf an", "mal so mal so", "unterschiedlich", "schwach", "geht so", "so halb", "halbwegs",
    ),
    "like.unsure": (
        "kann sein", "koennte sein", "koennte", "moeglich", "moeglicherweise", "eventuell", "vielleicht", "mag sein", "gut moeglich", "schwer zu sagen|beschreiben|beurteilen", "weiss nicht genau|was|wer|ob|wo|wie", "weiss ich nicht genau", "nicht ausprobiert|probiert|getestet", "nicht so genau", "bin mir nicht sicher", "nicht ganz sicher", "keine ahnung", "kein plan", "keinen schimmer", "kann ich nicht sagen|beurteilen|sehen|erkennen", "kann man nicht sagen|sehen", "weiss man nicht", "wer weiss", "muesste ich nachsehen|nachschauen|schauen|pruefen|fragen", "muss ich nachsehen|nachschauen|schauen|pruefen|fragen", "nicht drauf|darauf geachtet", "nie drauf|darauf geachtet", "habe nicht geschaut|nachgesehen|geprueft", "nicht geprueft|nachgesehen|geschaut", "erinnere mich nicht", "keine erinnerung", "vor meiner zeit", "das war vor meiner zeit", "weiss ich nicht mehr", "weiss nicht mehr",
    ),
    "like.none": (
        "nichts davon", "nichts von dem|alledem", "keins davon", "keines davon", "keine davon", "keiner davon", "nichts", "gar nichts", "ueberhaupt nichts", "nichts dergleichen", "nichts in der art", "nichts passiert", "alles gut", "alles in ordnung", "alles ok|okay|bestens|normal|prima|fein|klar|sicher", "passt alles", "alles paletti", "nichts auffaelliges|besonderes|schlimmes|ungewoehnliches|gefaehrliches", "nichts aufgefallen", "keine probleme", "kein problem", "weder noch", "nicht zutreffend", "trifft nicht zu", "trifft alles nicht zu", "nein zu allem", "in ordnung", "gut",
    ),
    "like.fine": (
        "gut", "einwandfrei", "tadellos", "problemlos", "normal", "ganz normal", "prima", "super", "perfekt", "bestens", "ok", "okay", "in ordnung", "wunderbar", "reibungslos", "fluessig", "ohne problem|probleme|schwierigkeiten|weiteres", "kein problem", "keine probleme|schwierigkeiten", "wie immer|gewohnt|frueher|neu", "wie am ersten tag", "geht", "gehen", "klappt", "funktioniert", "laeuft", "laufen", "funktionieren", "passt", "wie geschmiert", "wie es [sein] soll", "sauber",
    ),
    "like.bad": (
        "kaputt", "defekt", "tot", "geht nicht", "gehen nicht", "laeuft nicht", "laufen nicht", "funktioniert nicht", "funktionieren nicht", "nicht mehr", "gar nicht", "ueberhaupt nicht", "keine chance", "nichts", "fehlanzeige", "schlecht", "frueher", "klappt nicht",
    ),
    "like.same": (
        "genauso", "genau so", "dasselbe", "das selbe", "das gleiche", "gleiche", "dasselbe problem", "gleiches problem", "das gleiche problem", "gleicher fehler", "derselbe fehler", "ebenso", "ebenfalls", "dito", "ditto", "auch", "die auch", "das auch", "nicht anders", "wie oben|vorher|zuvor|gehabt", "wie bei den anderen", "gleich", "identisch", "auch so", "derselbe", "dieselbe", "gleiche person|werkstatt",
    ),
    "like.untried": (
        "nie probiert|versucht|getestet|ausprobiert", "noch nie probiert|versucht|getestet|ausprobiert", "nicht probiert|versucht|getestet|ausprobiert", "noch nicht probiert|versucht|getestet|ausprobiert", "habe|hab keine", "haben keine", "besitze keine", "besitzen keine", "keine da|hier|zuhause|daheim", "keine zur hand", "keine im haus", "keine zum testen", "habe keine disc|cd|dvd|bluray|game|film|movie|one", "besitze keine disc|cd|dvd|bluray|game|film|movie|one", "haben wir nicht", "habe ich nicht", "nutze|benutze|brauche ich nicht", "nutzen wir nicht", "schaue|gucke|spiele ich nie|nicht", "nie gehabt", "ungetestet", "nicht vorhanden",
    ),
}  # fmt: skip

NEUTRAL_ENGLISH = frozenset(
    ["well", "oh", "tbh", "mate", "thanks", "thank", "you", "sorry", "thankfully", "luckily", "fortunately", "honestly", "honest", "really", "anyway", "though", "please", "hmm", "hm", "um", "uh", "er", "erm", "ah", "lol", "haha", "yes", "yeah", "yep", "yup", "no", "nope", "nah", "ok", "okay", "so", "and", "but", "or", "then", "i", "we", "they", "he", "she", "me", "us", "them", "to", "be", "think", "guess", "suppose", "reckon", "believe", "say", "would", "in", "on", "of", "for", "with", "by", "from", "there", "here", "right", "actually", "basically", "now", "get", "go", "one", "ones", "thing", "what", "as", "far", "know", "sure", "course", "hi", "hello", "god", "unfortunately", "sadly", "afraid", "seem", "look", "also", "too", "about", "around", "roughly", "approx", "least", "point", "time", "dear", "much", "many", "lot", "some", "but", "up", "out", "off", "down", "back", "when", "it", "can", "could", "might", "may", "must", "should", "not", "never", "front", "part", "side", "probably", "maybe", "definitely", "certainly", "obviously", "clearly", "exactly", "always", "again", "today", "since", "bad", "good"]
)  # fmt: skip
NEUTRAL_GERMAN = frozenset(
    ["soweit", "bisher", "danach", "bis", "weiss", "alles", "zumindest", "immerhin", "irgendwie", "nein", "genau", "jedenfalls", "also", "naja", "na", "tja", "ach", "oh", "hm", "hmm", "aeh", "danke", "bitte", "sorry", "leider", "ehrlich", "ja", "nein", "ne", "nee", "doch", "schon", "eigentlich", "wohl", "denke", "glaube", "glaub", "meine", "ich", "wir", "er", "sie", "es", "man", "mir", "mich", "uns", "und", "aber", "oder", "dann", "da", "das", "die", "der", "so", "halt", "eben", "mal", "nur", "noch", "auch", "sehr", "ganz", "total", "wirklich", "sicher", "zum", "glueck", "gott", "sei", "dank", "hier", "dort", "dabei", "davon", "damit", "im", "in", "am", "an", "auf", "aus", "bei", "mit", "von", "vom", "zu", "fuer", "ueber", "etwa", "ungefaehr", "circa", "rund", "wieder", "immer", "jetzt", "einfach", "alles", "was", "wie", "als", "hab", "sein", "werd", "koenn", "woll", "geh", "komm", "wahrscheinlich", "vermutlich", "vielleicht", "bestimmt", "definitiv", "nicht", "nie", "kein"]
)  # fmt: skip

WORDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {"en": ENGLISH_WORDS, "de": GERMAN_WORDS}
NEUTRAL: Mapping[str, frozenset[str]] = {"en": NEUTRAL_ENGLISH, "de": NEUTRAL_GERMAN}
"""Words (or stems) that an answer may hold besides without saying more: discourse, politeness, doubt, prepositions."""

ASKS: Mapping[str, tuple[str, ...]] = {
    "en": (
        "how long", "how much", "how many", "how do", "how does", "how can", "how would", "how will", "how is", "why", "where", "who is", "what is", "what are", "what do", "what does", "what will", "what would", "what can", "what happens", "what if", "what about",
        "what counts", "do you", "can you", "can i", "could you", "could i", "should i", "is it", "is that", "is there", "is anyone", "is this", "are you", "are there", "will you", "will it", "would you", "have you", "did you", "does that", "does it", "may i", "shall i", "when will", "when can",
    ),
    "de": (
        "wie lange", "wie viel", "wieviel", "wie meinen", "wie ist", "wie kann", "wie soll", "wie mache", "warum", "wieso", "weshalb", "was kostet", "was ist", "was meinen", "was soll", "was heisst", "was bedeutet", "was passiert", "was wenn", "wann kann", "wann ist", "wann bekomme", "wo ist", "wo finde", "wo kann",
        "wer ist", "haben sie", "koennen sie", "kann ich", "darf ich", "soll ich", "muss ich", "muss das", "ist das", "sind sie", "bieten sie", "machen sie", "wird das", "reparieren sie",
    ),
}  # fmt: skip
"""Openings of a question back, with or without a question mark ("how long will it take")."""

ASIDE = frozenset(
    ["telly", "tv", "television", "remote", "manual", "instructions", "receipt", "fernseher", "fernbedienung", "anleitung", "rechnung"]
)  # fmt: skip
"""Things beside the device: a clause that begins with one is about that."""

ACKNOWLEDGING = frozenset(
    ["ok", "okay", "right", "cool", "aha", "i", "see", "got", "it", "understood", "k", "verstanden", "alles", "klar", "gut"]
)  # fmt: skip
"""Words that only take notice of a question to which the answer would be a plain yes or no."""

ASKING: Mapping[str, frozenset[str]] = {
    "en": frozenset(["what", "why", "how", "who", "when", "where", "which", "do", "does", "can", "should", "shall", "is", "are", "will", "could", "may"]),
    "de": frozenset(["was", "warum", "wieso", "weshalb", "wie", "wer", "wann", "wo", "welche", "welcher", "welches", "darf", "kann", "soll", "muss", "ist", "sind", "wird", "koennen", "haben"]),
}  # fmt: skip
"""First words of a question back; with a question mark behind, nothing in it answers."""

PLAIN_NO = frozenset({"nein"})
"""Denying words that only ever answer: they deny nothing behind them."""

AFTER_NO = frozenset(
    ["everything", "all", "still", "always", "same", "works", "work", "play", "plays", "looks", "seems", "sounds", "both", "mostly", "they", "these", "those", "luckily", "thankfully", "fortunately", "thank", "totally", "absolutely", "completely"]
)  # fmt: skip
"""Words that a "no" before them does not deny: it answers ("no, everything is original", commas left out)."""
