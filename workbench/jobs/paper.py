"""What a paper testifies to: the newest entry of its store's ledger when it was made.

A ledger written anew from its first entry is whole in itself, but holds no entry that a paper
holds already. Where `$EVENPACE_KEY` names a key, the paper's testimony is signed too (Ed25519,
RFC 8032), so that nobody makes a paper to go with another ledger.
"""

from __future__ import annotations

import json
import os
import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import read_text
from workbench.records.ledger import Head
from workbench.records.store import Store

VARIABLE = "EVENPACE_KEY"
_TEXT = re.compile(r"(\d{1,9}):([0-9a-f]{16,64})(?::([\w-]{86}):([\w-]{43}))?", re.ASCII)
"""Whoever types a hash may leave off its end; 64 bits of it are enough."""
_FOOT = re.compile(r'<footer data-ledger="([^"]*)"')
_MOST_KEY_BYTES, _MOST_REPORT_BYTES = 10_000, 100_000_000


@dataclass(frozen=True, slots=True)
class SignedHead:
    """A testimony; `signature` of the head by the private half of `key`, both '' for none."""

    head: Head
    signature: str = ""
    key: str = ""

    def __str__(self) -> str:
        return ":".join(filter(None, (str(self.head), self.signature, self.key)))


def paper_now(store: Store) -> SignedHead:
    """What a paper made now testifies to. Raises WrongInput where the key cannot be used,
    StoreError."""
    head, own = store.head(), own_key()
    if own is None:
        return SignedHead(head)
    return SignedHead(head, _as_text(own.sign(_signed(head))), _public(own))


def paper_of(text: str) -> SignedHead:
    """The testimony from a report's foot, spaces and line ends left out. Raises WrongInput."""
    found = _TEXT.fullmatch(re.sub(r"[\s\u200b]", "", text))
    if not found:
        raise WrongInput(
            "'{text}' is not what the foot of a report says of the ledger; expected for example "
            "81:e09a4f46050d56dd and so on.",
            text=text,
        )
    number, sha256, signature, key = found.groups("")
    return SignedHead(Head(int(number), sha256), signature, key)


def paper_in(path: Path) -> SignedHead:
    """The testimony of a saved report. Raises WrongInput."""
    expected = Message("a report saved as .json or .html; of a PDF give the foot's text by --head")
    text = read_text(path, _MOST_REPORT_BYTES, expected)
    try:
        report = json.loads(text)
        said = report.get("ledger") if isinstance(report, dict) else None
    except (ValueError, RecursionError):
        said = found[1] if (found := _FOOT.search(text)) else None
    if not isinstance(said, str) or not said:
        raise WrongInput(
            "{path}: it says nothing of a ledger; expected {expected}.",
            path=path,
            expected=expected,
        )
    return paper_of(said)


def broken(paper: SignedHead, store: Store) -> Iterator[StoreError]:
    """What of a paper does not hold. Raises WrongInput, StoreError."""
    head = paper.head
    if not store.holds(head):
        yield StoreError(
            "The store no longer matches its paper: entry {entry} of the ledger is not the one "
            "that the paper holds ({sha256}…). The ledger was cut or written anew, or the paper is "
            "of another store.",
            entry=head.number,
            sha256=head.sha256[:16],
        )
    if paper.signature and not _signature_is_right(paper):
        yield StoreError(
            "The paper's signature is not that of its key: one of its parts was altered."
        )
    own = own_key()
    if own is not None and paper.key != _public(own):
        yield StoreError(
            "The paper is not signed by your key: it says '{key}', yours is '{own}'.",
            key=paper.key or Message("none"),
            own=_public(own),
        )


def own_key() -> Any:
    """The private key that $EVENPACE_KEY names, None where it names none. Raises WrongInput."""
    name = os.environ.get(VARIABLE)
    if not name:
        return None
    ed25519, serialization = _library()
    expected = Message("a key as `evenpace verify --new-key FILE` makes it")
    text = read_text(Path(name), _MOST_KEY_BYTES, expected)
    try:
        key = serialization.load_pem_private_key(text.encode(), None)
    except Exception:  # of several kinds, some only of the library's own
        key = None
    if not isinstance(key, ed25519.Ed25519PrivateKey):
        raise WrongInput(
            "{path}: it holds no Ed25519 key; expected {expected}.", path=name, expected=expected
        )
    return key


def new_key(path: Path) -> str:
    """Make a private key in a new file that only its owner may read; returns its public half.

    Raises WrongInput.
    """
    ed25519, serialization = _library()
    key = ed25519.Ed25519PrivateKey.generate()
    content = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
    except OSError as error:
        raise WrongInput(
            "{path} cannot be made: {why}; name a new file.", path=path, why=error.strerror
        ) from None
    return _public(key)


def _library() -> tuple[Any, Any]:
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError:
        raise WrongInput(
            "Signing needs the cryptography library; install evenpace with its extra 'signing'."
        ) from None
    return ed25519, serialization


def _signed(head: Head) -> bytes:
    return f"evenpace ledger {head}".encode()


def _signature_is_right(paper: SignedHead) -> bool:
    from cryptography.exceptions import InvalidSignature

    key = _library()[0].Ed25519PublicKey.from_public_bytes(_as_bytes(paper.key))
    try:
        key.verify(_as_bytes(paper.signature), _signed(paper.head))
    except InvalidSignature:
        return False
    return True


def _public(key: Any) -> str:
    return _as_text(key.public_key().public_bytes_raw())


def _as_text(raw: bytes) -> str:
    return urlsafe_b64encode(raw).decode().rstrip("=")


def _as_bytes(text: str) -> bytes:
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))
