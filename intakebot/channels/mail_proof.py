"""What the shop's own mail server found out about where a mail comes from: the Authentication-Results header, RFC 8601.

Anybody can write any address into From. So a mail whose sender failed the checks does not go on with a talk by its
address alone (see `incoming`). Only headers that bear the name of a server we trust are looked at. That server removes
headers with its own name from what comes in (RFC 8601, section 5: it must); one that does not is not to be named. All the
same, a `pass` beside a `fail` of DMARC or SPF does not outvote it.

| found | verdict |
|---|---|
| dmarc=fail | fail |
| dmarc=pass | pass |
| no DMARC verdict: spf or dkim passes for the domain in From | pass |
| no DMARC verdict: spf fails, and no signature of that domain passes | fail |
| dkim fails, and spf does not pass for the domain in From | fail |
| anything else, or no header of a trusted server | unknown |
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["pass", "fail", "unknown"]
LONGEST = 20_000
_TOKEN = re.compile(r'"((?:[^"\\]|\\.)*)"|([^\s;="/]+)|([;=/])')


@dataclass(frozen=True)
class Result:
    """One method's result, such as spf=pass with smtp.mailfrom=example.net. Names in lower case."""

    method: str
    result: str
    properties: tuple[tuple[str, str], ...] = ()

    def has(self, name: str, domain: str) -> bool:
        """Whether a property names the domain, one above it or one below it (relaxed alignment, RFC 7489, 3.1)."""
        found = (
            value.rpartition("@")[2].lower().rstrip(".") for key, value in self.properties if key == name
        )
        return any(_aligned(each, domain) for each in found)


@dataclass(frozen=True)
class Results:
    """A whole header: who says so, and what."""

    server: str
    results: tuple[Result, ...]


def read_results(header: str) -> Results | None:
    """A header's value (RFC 8601, section 2.2); None when it cannot be read. Comments and folding may stand anywhere."""
    text = without_comments(header[:LONGEST].replace("\r", " ").replace("\n", " "))
    if text is None:
        return None
    head, *rest = _split(text)
    server = head[0] if head else ""
    if not server or server in ("=", "/") or "=" in head:
        return None
    return Results(server.lower(), tuple(found for part in rest if (found := _result(part)) is not None))


def without_comments(text: str) -> str | None:
    """The text with comments (which may nest) replaced by spaces; None when one does not end."""
    kept: list[str] = []
    depth, quoted, escaped = 0, False, False
    for letter in text:
        if escaped:
            escaped = False
        elif letter == "\\" and (quoted or depth):
            escaped = True
        elif letter == '"' and not depth:
            quoted = not quoted
        elif letter == "(" and not quoted:
            depth += 1
        elif letter == ")" and depth and not quoted:
            depth -= 1
            letter = " "
        kept.append(" " if depth else letter)
    return None if depth or quoted else "".join(kept)


def _split(text: str) -> list[list[str]]:
    """Tokens between semicolons."""
    parts: list[list[str]] = [[]]
    for found in _TOKEN.finditer(text):
        quoted, word, sign = found.groups()
        if sign == ";":
            parts.append([])
        else:
            parts[-1].append(sign or (word if quoted is None else re.sub(r"\\(.)", r"\1", quoted)))
    return parts


def _result(tokens: Sequence[str]) -> Result | None:
    """`method [/ version] = result [reason = text] (ptype . property = value)*`."""
    words = list(tokens)
    if len(words) >= 3 and words[1] == "/":
        del words[1:3]
    if len(words) < 3 or words[1] != "=":
        return None
    properties = []
    names: list[str] = []
    rest = iter(words[3:])
    for word in rest:
        if word == "=":
            properties.append(("".join(names).lower(), next(rest, "")))
            names = []
        else:
            names.append(word)
    return Result(words[0].lower(), words[2].lower(), tuple(properties))


def verdict(headers: Iterable[str], trusted: Sequence[str], sender: str) -> Verdict:
    """What the trusted servers' headers say about a mail that claims to come from `sender`."""
    names = {name.lower() for name in trusted}
    read = [found for header in headers if (found := read_results(header)) and found.server in names]
    results = [result for each in read for result in each.results]
    domain = sender.rpartition("@")[2].lower()
    dmarc = {each.result for each in results if each.method == "dmarc"}
    if "fail" in dmarc:
        return "fail"
    if "pass" in dmarc:
        return "pass"
    spf = [each for each in results if each.method == "spf"]
    dkim = [each for each in results if each.method == "dkim"]
    if _passes(spf, ("smtp.mailfrom", "smtp.helo"), domain) or _passes(
        dkim, ("header.d", "header.i"), domain
    ):
        return "pass"
    failed = {each.result for each in (*spf, *dkim)} & {"fail", "softfail", "hardfail", "policy"}
    return "fail" if failed else "unknown"


def _passes(results: Sequence[Result], names: Sequence[str], domain: str) -> bool:
    """Whether a check passed for the domain; with SPF, a failure beside it (a forged header) takes it back."""
    if any(each.method == "spf" and each.result in ("fail", "softfail", "hardfail") for each in results):
        return False
    return any(each.result == "pass" and each.has(name, domain) for each in results for name in names)


def _aligned(found: str, domain: str) -> bool:
    return (
        bool(found)
        and "." in found
        and (found == domain or domain.endswith(f".{found}") or found.endswith(f".{domain}"))
    )
