"""German: stems, numbers, denials, hedges, who, and the words for time and money (umlauts folded: ae, oe, ue, ss)."""

from __future__ import annotations

from functools import lru_cache

from intakebot.understanding.language import Language

_IRREGULAR = {
    "liest": "les", "lest": "les", "gelesen": "les", "las": "les", "geht": "geh", "gehen": "geh", "ging": "geh", "gegangen": "geh", "gibt": "geb", "geben": "geb",
    "gab": "geb", "nimmt": "nehm", "nehmen": "nehm", "genommen": "nehm", "gefallen": "fall", "faellt": "fall", "fiel": "fall", "fallen": "fall", "wirft": "werf", "werfen": "werf",
    "ist": "sein", "sind": "sein", "war": "sein", "waren": "sein", "bin": "sein", "gewesen": "sein", "hat": "hab", "habe": "hab", "haben": "hab", "hatte": "hab", "hatten": "hab",
    "wird": "werd", "werden": "werd", "wurde": "werd", "worden": "werd", "kann": "koenn", "koennen": "koenn", "konnte": "koenn", "will": "woll", "wollen": "woll", "wollte": "woll",
    "laeuft": "lauf", "laufen": "lauf", "lief": "lauf", "gelaufen": "lauf", "springt": "spring", "springen": "spring", "gesprungen": "spring", "bleibt": "bleib", "blieb": "bleib", "geblieben": "bleib",
    "haengt": "haeng", "haengen": "haeng", "gehangen": "haeng", "hing": "haeng", "kommt": "komm", "kam": "komm", "gekommen": "komm", "erkennt": "erkenn", "erkannt": "erkenn", "erkennen": "erkenn",
    "schliesst": "schliess", "schliessen": "schliess", "geschlossen": "schliess", "zieht": "zieh", "ziehen": "zieh", "gezogen": "zieh", "riecht": "riech", "riechen": "riech", "gerochen": "riech", "roch": "riech",
    "disk": "disc", "disks": "disc", "discs": "disc", "disketten": "disc", "scheibe": "disc", "scheiben": "disc", "spielt": "spiel", "spielen": "spiel", "gespielt": "spiel", "spiele": "spiel", "spiels": "spiel",
    "dreht": "dreh", "drehen": "dreh", "gedreht": "dreh", "klickt": "klick", "klicken": "klick", "steckt": "steck", "stecken": "steck", "gesteckt": "steck",
    "keine": "kein", "keinen": "kein", "keinem": "kein", "keiner": "kein", "keinerlei": "kein", "keins": "kein", "cds": "cd", "dvds": "dvd", "games": "game",
    "oeffnet": "oeffn", "oeffnen": "oeffn", "geoeffnet": "geoeffn", "auf": "auf", "nicht": "nicht", "nichts": "nichts",
}  # fmt: skip
_ENDINGS = (
    "esten",
    "enden",
    "ende",
    "ungen",
    "ung",
    "eten",
    "ten",
    "tet",
    "est",
    "en",
    "er",
    "es",
    "em",
    "et",
    "te",
    "st",
    "e",
    "n",
    "s",
    "t",
)


@lru_cache(maxsize=16384)
def stem(word: str) -> str:
    """A light stem: one inflectional ending is dropped; irregular forms come from a list."""
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    if len(word) < 5 or not word.isalpha():
        return word
    for ending in _ENDINGS:
        if word.endswith(ending) and len(word) - len(ending) >= 4:
            return word[: -len(ending)]
    return word


_UNITS = ["null", "ein", "zwei", "drei", "vier", "fuenf", "sechs", "sieben", "acht", "neun"]
_TENS = {
    word: 10 * n
    for n, word in enumerate(
        ["zwanzig", "dreissig", "vierzig", "fuenfzig", "sechzig", "siebzig", "achtzig", "neunzig"], 2
    )
}
_NUMBERS = {
    word: n
    for n, word in enumerate(
        [
            "null",
            "eins",
            "zwei",
            "drei",
            "vier",
            "fuenf",
            "sechs",
            "sieben",
            "acht",
            "neun",
            "zehn",
            "elf",
            "zwoelf",
            "dreizehn",
            "vierzehn",
            "fuenfzehn",
            "sechzehn",
            "siebzehn",
            "achtzehn",
            "neunzehn",
        ]
    )
}
_NUMBERS |= {f"{_UNITS[one]}und{ten}": value + one for ten, value in _TENS.items() for one in range(1, 10)}
_NUMBERS |= {
    "ein": 1,
    "eine": 1,
    "einen": 1,
    "einem": 1,
    "einer": 1,
    "zwo": 2,
    "paar": 2,
    "dutzend": 12,
    "beide": 2,
}

# fmt: off
GERMAN = Language(
    locale="de",
    spelling="de",
    stem=stem,
    irregular=frozenset(_IRREGULAR),
    expansions={
        "gehts": ("geht", "es"), "geht's": ("geht", "es"), "ists": ("ist", "es"), "ist's": ("ist", "es"), "hab": ("habe",), "nich": ("nicht",), "net": ("nicht",), "ned": ("nicht",), "nix": ("nichts",),
        "is": ("ist",), "isses": ("ist", "es"), "hats": ("hat", "es"), "hat's": ("hat", "es"), "gibts": ("gibt", "es"), "gibt's": ("gibt", "es"), "kanns": ("kann", "es"), "ne": ("nein",), "nee": ("nein",), "noe": ("nein",),
        "jep": ("ja",), "jo": ("ja",), "jup": ("ja",), "kapput": ("kaputt",), "kaput": ("kaputt",), "bissl": ("bisschen",), "bissel": ("bisschen",), "halt": (), "eben": (), "u": ("und",), "&": ("und",), "+": ("und",),
        "vllt": ("vielleicht",), "evtl": ("eventuell",), "zb": (), "wg": ("wegen",), "ca": ("circa",), "nr": ("nummer",),
    },
    fillers=frozenset(
        ["der", "die", "das", "den", "dem", "des", "ein", "eine", "einen", "einem", "einer", "mein", "meine", "meinen", "meinem", "meiner", "unser", "unsere", "dein", "deine", "ihr", "ihre", "sein", "seine", "es", "einfach", "nur", "noch", "auch", "immer", "schon", "sehr", "ganz", "jetzt", "mehr", "so", "da", "dann", "mal", "ja", "doch", "gar", "ueberhaupt", "richtig", "wieder", "plotzlich", "ploetzlich", "leider", "eigentlich", "halt", "eben", "voellig", "komplett", "total", "bei", "beim", "im", "am", "vom", "zum", "hab", "werd", "woll", "koenn", "dieser", "diese", "dieses", "alle", "allen", "irgendwie", "ploetzlich", "nun", "meist", "meistens", "normal", "normale", "normalen", "alte", "alten", "neue", "neuen", "neuere", "neueren", "aeltere", "sich", "mich", "mir", "uns", "ihn", "ihm", "selbst"]
    ),
    breaks=frozenset(["aber", "jedoch", "obwohl", "weil", "denn", "sondern", "waehrend", "ausser", "seit", "seitdem", "bis", "sonst", "sodass", "deshalb", "deswegen", "trotzdem", "allerdings"]),
    joins=frozenset(["und", "oder", "noch", "/", "&"]),
    negators=frozenset(["kein", "keine", "keinen", "keinem", "keiner", "keinerlei", "nicht", "nie", "niemals", "ohne", "weder", "niemand", "nichts", "nein", "kaum", "keins"]),
    modal_negators=frozenset(),
    perception=frozenset(),
    scope_ends=frozenset(["nur", "sondern"]),
    subjects=frozenset(["ich", "es", "er", "sie", "wir", "das", "der", "die", "man"]),
    hedges={
        "ich glaube": 0.7, "glaube ich": 0.7, "glaube": 0.7, "ich denke": 0.7, "denke ich": 0.7, "vielleicht": 0.55, "eventuell": 0.55, "moeglicherweise": 0.5, "vermutlich": 0.7, "wahrscheinlich": 0.7, "wohl": 0.75,
        "koennte": 0.5, "koennte sein": 0.5, "muesste": 0.7, "sollte": 0.7, "scheint": 0.8, "anscheinend": 0.75, "angeblich": 0.6, "soweit ich weiss": 0.75, "bin nicht sicher": 0.5, "nicht sicher": 0.5, "nehme an": 0.65, "schaetze": 0.6,
    },
    cues={
        "hypothetical": ("falls", "wenn es", "wenn das", "wenn die", "damit es nicht", "damit nicht", "angst dass", "sorge dass"),
        "question_openers": ("ist es", "ist das", "ist die", "ist der", "kann es sein", "koennte es", "koennte das", "koennte die", "soll ich", "sollte ich", "darf ich", "kann ich", "muss ich", "liegt es", "liegt das", "ob"),
        "request_openers": ("koennen sie", "kann man", "koennt ihr", "reparieren sie", "machen sie"),
        "listed_result": ("ja", "jep", "nein", "nicht", "nie", "keine", "keins", "gut", "ok", "okay", "super", "prima", "geht", "gehen", "laeuft", "laufen", "funktioniert", "funktionieren", "tot", "nichts", "ungetestet", "unbekannt", "auch", "alle", "einwandfrei", "problemlos", "perfekt", "fehler"),
        "pause": ("einen|ein|nen kleinen|kurzen moment|augenblick", "moment|augenblick|sekunde [bitte]", "eine|ne sekunde|minute|sek"),
        "universal": ("nichts",),
        "relative": ("die", "der", "das", "welche", "mit"),
        "unsure_whether": ("weiss nicht ob", "nicht sicher ob", "keine ahnung ob", "unsicher ob", "weiss nicht wer", "kann nicht sagen ob"),
        "past": ("frueher", "bisher", "bis vor kurzem", "lief immer", "ging immer", "hat immer"),
        "elsewhere": ("mein anderer", "meine andere", "mein anderes", "anderes geraet", "anderer player", "andere konsole", "anderen geraet", "anderen player", "anderen konsole", "mein alter", "mein altes"),
        "correction": ("nein doch", "ich meinte", "ich meine", "stimmt nicht", "korrektur", "quatsch", "moment", "sorry ich", "tatsaechlich", "eigentlich doch", "falsch", "nein warte", "vertippt", "doch nicht"),
        "intention": ("moechte", "will", "wollte", "wuerde gern", "wuerde gerne", "ueberlege", "soll ich", "kann ich", "koennte ich", "muss man", "muesste", "bitte", "koennen sie", "koennt ihr", "was kostet", "lassen wuerde", "bevor ich", "um zu"),
        "who.owner": ("ich", "wir", "selber", "selbst", "mir"),
        "who.friend": ("freund", "freunde", "freundin", "kumpel", "bruder", "schwester", "vater", "mutter", "papa", "mama", "mann", "frau", "sohn", "tochter", "onkel", "tante", "nachbar", "bekannter", "bekannten", "kollege", "neffe", "opa", "schwager", "cousin"),
        "who.shop": ("werkstatt", "laden", "geschaeft", "haendler", "techniker", "fachmann", "service", "kundendienst", "hersteller", "reparaturdienst", "reparaturladen", "elektriker", "repair cafe", "fachbetrieb", "reparaturcafe"),
        "who.someone": ("jemand", "vorbesitzer", "verkaeufer", "irgendwer", "er", "sie", "vorgaenger", "irgendjemand"),
        "who.nobody": ("niemand", "keiner", "noch nie"),
        "passive": ("wurde", "worden", "wurden", "lassen"),
        "agent": ("von", "durch"),
        "pronoun": ("er", "sie", "die"),
        "young": ("kind", "junge", "maedchen", "sohn", "tochter", "enkel"),
        "yes": ("ja", "jawohl", "genau", "richtig", "stimmt", "klar", "natuerlich", "sicher", "korrekt", "auf jeden fall", "j", "ja bitte", "ok", "okay", "tut es", "ist es", "hat es", "habe ich", "glaube schon", "ich glaube schon", "schon", "doch", "absolut", "denke schon", "macht es", "wahrscheinlich ja"),
        "no": ("nein", "nicht", "nie", "niemals", "keine", "keiner", "niemand", "ueberhaupt nicht", "gar nicht", "eher nicht", "glaube nicht", "ich glaube nicht", "nicht dass ich wuesste", "nichts", "falsch", "nein danke", "auf keinen fall", "noch nie", "noch nicht", "n", "weder noch", "ist es nicht", "tut es nicht", "hat es nicht", "habe ich nicht", "keins", "stimmt nicht", "nicht wirklich"),
        "not_known": ("weiss nicht", "weiss ich nicht", "ich weiss nicht", "keine ahnung", "ich weiss es nicht", "weiss es nicht", "nicht sicher", "bin nicht sicher", "unsicher", "kann ich nicht sagen", "kann nicht sagen", "weiss ich leider nicht", "nicht probiert", "nicht getestet", "nicht ausprobiert", "vielleicht", "moeglich", "?", "??", "schwer zu sagen", "erinnere mich nicht", "vergessen", "kp", "ka", "unbekannt", "nicht bekannt"),
        "declined": ("moechte ich nicht sagen", "will ich nicht sagen", "geht sie nichts an", "keine angabe", "sage ich nicht", "privat", "lieber nicht", "moechte ich nicht angeben"),
        "limit": ("max", "maximal", "hoechstens", "bis zu", "nicht mehr als", "limit", "budget", "unter", "weniger als", "ausgeben", "obergrenze", "nicht ueber", "bis"),
        "worth": ("wert", "gekostet", "bezahlt", "neupreis", "kostet neu", "neu kostet"),
        "deadline": ("bis", "vor", "spaetestens", "brauche", "brauche es", "benoetige", "rechtzeitig", "zurueck", "deadline"),
        "approx": ("etwa", "ungefaehr", "circa", "rund", "fast", "knapp", "so", "ueber"),
        "age": ("alt", "gekauft", "habe ihn", "habe es", "habe sie", "baujahr", "aus", "seit", "von", "besitze", "her"),
        "lead_in": ("mein name ist", "ich heisse", "ich bin", "das modell ist", "modell ist", "es ist ein", "es ist eine", "es ist", "das ist", "da steht", "er heisst", "sie heisst", "name ist", "auf dem schild steht"),
    },
    numbers=_NUMBERS,
    ordinals={form: value for value, base in enumerate(["erste", "zweite", "dritte", "vierte", "fuenfte", "sechste", "siebte", "achte", "neunte", "zehnte"], 1) for form in (base, f"{base}n", f"{base}s", f"{base}r")} | {"letzte": -1, "letzter": -1, "letztes": -1, "letzten": -1},
    tens=_TENS | {"hundert": 100, "einhundert": 100, "zweihundert": 200, "tausend": 1000},
    fractions={"halb": "0.5", "halbes": "0.5", "halbe": "0.5", "anderthalb": "1.5"},
    units={
        "jahr": "years", "jahre": "years", "jahren": "years", "monat": "months", "monate": "months", "monaten": "months", "woche": "weeks", "wochen": "weeks", "tag": "days", "tage": "days", "tagen": "days",
        "stunde": "hours", "stunden": "hours", "minute": "minutes", "minuten": "minutes", "min": "minutes", "jahrzehnt": "decades", "jahrzehnte": "decades",
    },
    months={name: number for number, names in enumerate(
        ("januar jan jaenner", "februar feb", "maerz mrz", "april apr", "mai", "juni jun", "juli jul", "august aug", "september sep sept", "oktober okt", "november nov", "dezember dez"), 1
    ) for name in names.split()},
    weekdays={name: number for number, names in enumerate(("montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag sonnabend", "sonntag")) for name in names.split()},
    currencies={"€": "EUR", "euro": "EUR", "euros": "EUR", "eur": "EUR", "£": "GBP", "pfund": "GBP", "gbp": "GBP", "$": "USD", "dollar": "USD", "usd": "USD", "chf": "CHF", "franken": "CHF"},
    day_words={"heute": 0, "morgen": 1, "uebermorgen": 2, "gestern": -1, "vorgestern": -2},
    period_words={
        "naechste": "next", "naechsten": "next", "naechster": "next", "naechstes": "next", "kommende": "next", "kommenden": "next", "diese": "this", "diesen": "this", "dieses": "this", "diesem": "this", "letzte": "last", "letzten": "last",
        "letztes": "last", "letzter": "last", "in": "in", "innerhalb": "in", "ende": "end", "der": "the", "des": "of", "wochenende": "weekend", "weihnachten": "12-25", "silvester": "12-31", "neujahr": "01-01", "ostern": "easter", "vor": "before",
    },
    day_first=True,
    openings=frozenset(["aehm", "aeh", "hm", "hmm", "also", "naja", "tja", "oh", "hallo", "ok", "okay", "sorry", "danke"]),
    after_reply=frozenset(["ich", "es", "wir", "sie", "er", "das", "der", "die", "nicht", "nie", "aber", "nur", "danke", "und", "mein", "meine", "leider", "eigentlich"]),
    after_unsure=frozenset(["leider", "ehrlich", "genau", "darueber", "dazu"]),
    position_words=frozenset(["option", "nummer", "nr", "antwort", "die", "der", "das", "ich", "nehme", "bitte", "und", "oder", "ist", "es", "glaube"]),
    phone_words=frozenset(["telefon", "handy", "nummer", "anrufen", "mobil", "tel", "rufnummer"]),
    negators_after=frozenset({"nicht"}),
)
# fmt: on
