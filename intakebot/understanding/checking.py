"""Do the phrases and the wordings of answers of all families parse? The meaning pass cannot know the phrase grammar; this does."""

from __future__ import annotations

from intakebot.definitions.model import Definitions
from intakebot.definitions.problems import Problem
from intakebot.errors import BadInputError
from intakebot.understanding.answer_book import with_answers
from intakebot.understanding.lexicon import build_lexicon
from intakebot.understanding.reader import LANGUAGES


def phrase_problems(definitions: Definitions) -> list[Problem]:
    """One problem for each family and locale whose phrases cannot be used (the first that was met)."""
    problems = []
    for family in definitions.families.values():
        for locale in family.phrases:
            file = f"flows/{family.id}/phrases/{locale}.yaml"
            language = LANGUAGES.get(locale.split("-")[0])
            if language is None:
                problems.append(
                    Problem(file, 1, "", f"the locale {locale}", "one of " + ", ".join(sorted(LANGUAGES)))
                )
                continue
            try:
                with_answers(build_lexicon(family, locale, language))
            except BadInputError as error:
                file = file.replace("/phrases/", "/answers/") if error.where.startswith("answers/") else file
                problems.append(Problem(file, 1, error.where, repr(error.found), error.expected))
    return problems
