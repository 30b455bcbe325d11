"""The `intakebot` command."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from intakebot.errors import BadInputError, DefinitionError, NotFoundError, SettingsError

Command = Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; a bad setting, folder or argument is explained in a line, never with a trace."""
    arguments = sys.argv[1:] if argv is None else list(argv)
    if arguments[:1] == ["evaluate"]:
        from intakebot.triage.evaluate import main as evaluate

        return evaluate(arguments[1:])
    if arguments[:1] == ["simulate"]:
        from intakebot.simulation.command import run as simulate

        return simulate(arguments[1:])
    options = _parser().parse_args(arguments)
    command: Command = options.command
    try:
        return command(options)
    except DefinitionError as error:
        print(f"The definitions cannot be used:\n{error}", file=sys.stderr)
    except (SettingsError, BadInputError, NotFoundError) as error:
        print(f"intakebot: {error}", file=sys.stderr)
    except BrokenPipeError:
        return 0
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="intakebot", description="Intake, triage and quote service for a repair shop."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def add(name: str, command: Command, text: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=text, description=text)
        sub.set_defaults(command=command)
        return sub

    serve = add("serve", _serve, "Set up the database and serve pages and API.")
    serve.add_argument(
        "--empty", action="store_true", help="do not load the demo shop's invented cases into a new database"
    )
    check = add("check", _check, "Print every problem of flows/ and pricing/; exit 1 if there are any.")
    check.add_argument(
        "folder", nargs="?", default=None, metavar="DIR", help="folder with flows/ and pricing/"
    )
    chat = add("chat", _chat, "Talk to the intake in this terminal.")
    chat.add_argument("--language", default="en", help="en or de")
    demo = add(
        "demo",
        _demo,
        "Play an invented customer and print talk, form, estimate, packing sheet and pre-triage.",
    )
    demo.add_argument(
        "--story", default="blue_laser", metavar="NAME", help="which customer; --list shows them"
    )
    demo.add_argument("--list", action="store_true", help="list the stories")
    demo.add_argument("--language", default="en", help="en or de")
    keys = add("key", _key, "Make a key for the shop's own systems (shown once), list keys, or revoke one.")
    keys.add_argument("--new", metavar="NAME", help="make a key with this name")
    keys.add_argument(
        "--scope", action="append", default=[], help="what a new key may do; repeat for several"
    )
    keys.add_argument("--revoke", metavar="ID", help="end a key at once")
    add("relay", _relay, "Send what waits in the outbox, until stopped.")
    add("learn", _learn, "Show what finished jobs say about the shipped chances; changes nothing.")
    commands.add_parser(
        "evaluate", help="Run understanding and triage on repair records, one JSON object a line."
    )
    commands.add_parser("simulate", help="Let simulated customers talk to the intake and report.")
    return parser


def _serve(options: argparse.Namespace) -> int:
    os.environ.setdefault(
        "OPENBLAS_NUM_THREADS", "1"
    )  # small matrices: more threads only wait; read when numpy loads
    from intakebot.server import serve

    return serve(os.environ, demo=not options.empty)


def _check(options: argparse.Namespace) -> int:
    from intakebot.definitions import check, load_definitions
    from intakebot.quoting.profiles import profile_check
    from intakebot.settings import PROJECT_ROOT
    from intakebot.understanding.checking import phrase_problems

    root = (
        Path(options.folder)
        if options.folder
        else Path(os.environ.get("INTAKEBOT_DEFINITIONS", PROJECT_ROOT))
    )
    problems = check(root)
    if not problems:
        definitions = load_definitions(root)
        problems = [*phrase_problems(definitions), *profile_check(definitions)]
    for problem in problems:
        print(problem)
    if problems:
        print(f"{len(problems)} problem{'s' if len(problems) > 1 else ''}.", file=sys.stderr)
        return 1
    definitions = load_definitions(root)
    families = ", ".join(
        f"{family.id} ({len(family.facts)} facts, {len(family.findings)} findings, {len(family.faults)} faults, {len(family.steps)} steps)"
        for family in definitions.families.values()
    )
    print(f"No problems. {families}; version {definitions.version}.")
    return 0


def _chat(options: argparse.Namespace) -> int:
    from intakebot.channels.terminal import run_chat
    from intakebot.serving import open_shop
    from intakebot.settings import read_settings

    shop = open_shop(read_settings(os.environ))
    try:
        run_chat(shop.turns, options.language, sys.stdin, sys.stdout)
    except KeyboardInterrupt:
        print()
    finally:
        shop.store.close()
    return 0


def _demo(options: argparse.Namespace) -> int:
    from intakebot.demonstration import stories, story_named
    from intakebot.demonstration.show import show

    if options.list:
        for story in stories().values():
            print(f"{story.id:18} {story.about}")
        return 0
    show(story_named(options.story), sys.stdout, options.language)
    return 0


def _learn(options: argparse.Namespace) -> int:
    from intakebot.serving import open_shop
    from intakebot.settings import read_settings
    from intakebot.workshop.lessons import report

    shop = open_shop(read_settings(os.environ))
    try:
        with shop.store.reading() as work:
            lessons = work.outcomes.since()
        for family in shop.turns.editions.current.families.values():
            print(report(family, [lesson for lesson in lessons if lesson["family"] == family.id]))
    finally:
        shop.store.close()
    return 0


def _key(options: argparse.Namespace) -> int:
    from intakebot.serving import open_shop
    from intakebot.settings import read_settings
    from intakebot.web.api_receivers import new_key
    from intakebot.web.api_schemas import SCOPES

    for scope in options.scope:
        if scope not in SCOPES:
            raise BadInputError("--scope", scope, "one of " + ", ".join(SCOPES))
    shop = open_shop(read_settings(os.environ))
    try:
        now = shop.turns.now()
        with shop.store.unit_of_work() as work:
            if options.revoke:
                work.shop_keys.get(options.revoke)
                work.shop_keys.revoke(options.revoke, now)
            if options.new:
                key, shown = new_key(shop.turns.ids, options.new, tuple(options.scope) or tuple(SCOPES), now)
                work.shop_keys.add(key)
                print(f"{shown}\nKeep it safe: it is not shown again.")
            work.commit()
        with shop.store.reading() as work:
            for key in work.shop_keys.all():
                state = "revoked" if key.revoked_at else "in use"
                print(f"{key.id:14} {state:8} {key.name}  {' '.join(key.scopes)}")
    finally:
        shop.store.close()
    return 0


def _relay(options: argparse.Namespace) -> int:
    from intakebot.server import run_relay

    return run_relay(os.environ)


if __name__ == "__main__":
    sys.exit(main())
