"""From a raw e-mail to an InboundMessage: who, in which thread, what is new in it, which pictures.

Automatic mail (out-of-office notes, bounces, lists) is ignored and never answered, or two machines would write to each
other for ever. Quoted text is cut before reading: it holds our own words.
Source: RFC 5322 (headers), RFC 3834 (Auto-Submitted; never answer automatic mail), RFC 2919 (List-Id), RFC 3462
(multipart/report).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from email.utils import parsedate_to_datetime
from html.parser import HTMLParser

from intakebot.channels.mail_proof import verdict
from intakebot.channels.seam import Attachment, InboundMessage
from intakebot.errors import BadInputError

MAX_MAIL_BYTES = 25 * 1024 * 1024
MAX_TEXT = 4000
MAX_PICTURES = 10
_PICTURES = ("image/jpeg", "image/png", "image/webp", "image/heic", "image/heif")

_QUOTE_HEADS = (
    re.compile(r"^\s*On\b.{0,200}\bwrote:\s*$"),
    re.compile(r"^\s*Am\b.{0,200}\bschrieb\b.{0,100}:\s*$"),
    re.compile(r"^\s*-{2,}\s*(Original Message|Ursprüngliche Nachricht|Forwarded message)\s*-{2,}\s*$", re.I),
    re.compile(r"^\s*_{10,}\s*$"),
)
_QUOTE_START = re.compile(r"^\s*(On|Am)\b")
_QUOTE_END = re.compile(r"\b(wrote|schrieb\b.{0,100}):\s*$")


class EmailInbound:
    """Inbound e-mail. Who may hand mail over is the mail server's business (LMTP socket, pipe), so there is no signature.

    trusted: names (authserv-id) of the mail servers whose word on senders counts; see `mail_proof`.
    """

    def __init__(self, trusted: tuple[str, ...] = ()) -> None:
        self._trusted = trusted

    def receive(self, headers: Mapping[str, str], body: bytes, now: datetime) -> InboundMessage:
        """Args: headers: of the envelope: `mail-from`. body: the raw mail.

        Raises: BadInputError (where = `mail`) for automatic mail and for what cannot be read.
        """
        if len(body) > MAX_MAIL_BYTES:
            raise BadInputError("mail", f"{len(body)} bytes", f"at most {MAX_MAIL_BYTES} bytes")
        mail = BytesParser(policy=policy.default).parsebytes(body)
        assert isinstance(mail, EmailMessage)
        if is_automatic(mail, headers.get("mail-from")):
            raise BadInputError("mail", "automatic mail", "mail written by a person")
        address = sender_of(mail)
        references = _references(mail)
        return InboundMessage(
            channel="email",
            address=address,
            message_id=references[-1],
            text=new_text(mail)[:MAX_TEXT],
            raw=body,
            attachments=tuple(_pictures(mail)),
            sent_at=sent_at_of(mail),
            thread={"references": references[-20:], "subject": _subject(mail)},
            proven=verdict(_all(mail, "Authentication-Results"), self._trusted, address) != "fail",
        )


def is_automatic(mail: EmailMessage, envelope_from: str | None = None) -> bool:
    """True for mail that no person wrote, or that must not be answered."""
    submitted = _header(mail, "Auto-Submitted").split(";")[0].strip().lower()
    if submitted not in ("", "no"):
        return True
    if envelope_from in ("", "<>") or _header(mail, "Return-Path").strip() == "<>":
        return True
    if _header(mail, "Precedence").strip().lower() in ("bulk", "junk", "list", "auto_reply"):
        return True
    if any(
        _header(mail, name)
        for name in ("List-Id", "X-Autoreply", "X-Autorespond", "X-Auto-Response-Suppress")
    ):
        return True
    return mail.get_content_type() in ("multipart/report", "message/delivery-status")


def _header(mail: EmailMessage, name: str) -> str:
    """A header as text; broken ones read as empty."""
    try:
        return str(mail.get(name, ""))
    except (
        Exception
    ):  # the standard parser fails in many ways on hostile headers; an unreadable one is no header
        return ""


def _all(mail: EmailMessage, name: str) -> list[str]:
    """Every header of a name, as text; broken ones read as none."""
    try:
        return [str(each) for each in mail.get_all(name, [])]
    except Exception:  # as in _header
        return []


def sender_of(mail: EmailMessage) -> str:
    """The address in From (Reply-To is not followed: it may be anybody's), lower case.

    Raises: BadInputError when there is not exactly one usable address.
    """
    try:
        found = [address.addr_spec for address in mail["From"].addresses]
    except Exception:  # missing, or too hostile for the standard parser
        found = []
    usable = len(found) == 1 and 3 <= len(found[0]) <= 320 and not re.search(r"[\s\x00-\x1f<>]", found[0])
    usable = usable and "@" in found[0].strip("@")
    if not usable:
        raise BadInputError("mail.From", "no single address", "one address")
    return found[0].lower()


def _references(mail: EmailMessage) -> list[str]:
    """The thread so far, this mail last. A mail without Message-ID gets one from its content."""
    own = _ids(_header(mail, "Message-ID"))
    if not own:
        digest = hashlib.sha256(bytes(mail)).hexdigest()[:32]
        own = [f"<{digest}@no-message-id.invalid>"]
    before = _ids(_header(mail, "References")) or _ids(_header(mail, "In-Reply-To"))
    return [each for each in before if each != own[0]] + own[:1]


def _ids(text: str) -> list[str]:
    return re.findall(r"<[^<>\s]{1,250}>", text)


def _subject(mail: EmailMessage) -> str:
    subject = " ".join(_header(mail, "Subject").split())[:180]
    return subject if not subject or re.match(r"(?i)re:|aw:", subject) else f"Re: {subject}"


def sent_at_of(mail: EmailMessage) -> datetime | None:
    """When the mail was sent: its Date, or when the first mail server took it, whichever is later.

    A customer's own clock may be hours slow; the server's is not. None when neither can be read.
    Source: RFC 5322, 3.6.1 (Date); RFC 5321, 4.4 (each server puts its Received line on top, time after the last `;`).
    """
    received = [each.rpartition(";")[2] for each in _all(mail, "Received")]
    moments = [_moment(text) for text in (_header(mail, "Date"), *received[-1:])]
    return max((moment for moment in moments if moment is not None), default=None)


def _moment(text: str) -> datetime | None:
    try:
        moment = parsedate_to_datetime(text)
        return moment if moment.tzinfo and moment.astimezone(UTC) else None
    except (TypeError, ValueError, OverflowError):
        return None


def new_text(mail: EmailMessage) -> str:
    """What the sender wrote, without quoted text and signature."""
    try:
        part = mail.get_body(preferencelist=("plain", "html"))
    except Exception:  # hostile structure
        part = None
    if part is None:
        return ""
    try:
        text = part.get_content()
    except (LookupError, UnicodeError, ValueError, KeyError):
        raw = part.get_payload(decode=True)
        text = raw.decode("utf-8", "replace") if isinstance(raw, bytes) else ""
    if part.get_content_type() == "text/html":
        text = html_text(text)
    return cut_quotes(text)


def cut_quotes(text: str) -> str:
    """Drop quoted lines, everything from a quote's head line on, and the signature."""
    kept: list[str] = []
    lines = text.replace("\r\n", "\n").split("\n")
    for number, line in enumerate(lines):
        if line.rstrip("\n") in ("-- ", "--"):
            break
        if any(head.match(line) for head in _QUOTE_HEADS) or _is_wrapped_head(lines, number):
            break
        if not line.lstrip().startswith(">"):
            kept.append(line)
    return "\n".join(kept).strip()


def _is_wrapped_head(lines: list[str], number: int) -> bool:
    """A head line ("On Tuesday ... wrote:") that the mail program broke into two."""
    if not _QUOTE_START.match(lines[number]) or number + 1 >= len(lines):
        return False
    following = lines[number + 1]
    quoted = any(line.lstrip().startswith(">") for line in lines[number + 2 : number + 5])
    return bool(_QUOTE_END.search(following[-200:])) and quoted


class _TextOfHtml(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.parts: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag in ("script", "style", "head", "blockquote"):
            self._hidden += 1
        elif tag in ("br", "p", "div", "li", "tr"):
            self.parts.append("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "head", "blockquote") and self._hidden:
            self._hidden -= 1

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.parts.append(data)


def html_text(html: str) -> str:
    """The visible text of a mail written as HTML; quoted blocks left out."""
    reader = _TextOfHtml()
    reader.feed(html)
    reader.close()
    lines = [" ".join(line.split()) for line in "".join(reader.parts).split("\n")]
    return "\n".join(line for line in lines if line)


def _pictures(mail: EmailMessage) -> list[Attachment]:
    found: list[Attachment] = []
    for part in mail.walk():
        if part.get_content_type() in _PICTURES and len(found) < MAX_PICTURES:
            content = part.get_payload(decode=True)
            if isinstance(content, bytes) and content:
                found.append(Attachment(part.get_content_type(), content))
    return found
