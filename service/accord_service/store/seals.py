"""What the audit is sealed with: an Ed25519 key that the store does not hold.

Its file (``ACCORD_SEAL_KEY_FILE``) is PEM, one key after the other: first the private key in use, then those that were
in use before, whole or only their public halves. All services on one store share it. Whoever has the store alone, and
not this file, can neither seal a chain's head nor a document:

* The head of the chain is signed, so anybody with the public key can tell it from a forged one. The signed line
  (``ChainHead.text``) is also what a shop can keep as an anchor.
* Each document carries a MAC under a key derived from the private one: what was put into the store, or altered there,
  by anybody else is not read. A MAC and not a signature, since every read pays for it: some microseconds instead of
  some hundred. Only services check documents, and they hold the private key anyway.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import logging
import os
import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from accord_service.run.config import SEAL_KEY_FILE
from accord_service.store.errors import StoreBroken

logger = logging.getLogger(__name__)
BEGINNING = "0" * 64
LINE = "accord-audit-1"  # the first word of an anchor; another form of it would have another
KEY_ID_DIGITS = 16
_PEM = re.compile(rb"-----BEGIN (PRIVATE|PUBLIC) KEY-----.+?-----END \1 KEY-----\s*", re.DOTALL)
_ANCHOR = re.compile(
    LINE + r" ([1-9][0-9]{0,14}) ([0-9a-f]{64}) (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z) ([0-9a-f]{16}) ([\w-]{86})",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class ChainHead:
    """How many entries there are, and the hash of the last; when that was written (RFC 3339), and the key and the
    signature that seal all this. The latter are empty where nobody sealed it, as before there were seals."""

    seq: int = 0
    hash: str = BEGINNING
    written_at: str = ""
    seal_key_id: str = ""
    signature: str = ""

    def text(self) -> str:
        """One line, as the store holds it and a shop can keep it; empty before the first entry."""
        return f"{self.sealed_text()} {self.signature}" if self.seq else ""

    def sealed_text(self) -> str:
        """What the signature is over."""
        return f"{LINE} {self.seq} {self.hash} {self.written_at} {self.seal_key_id}"

    @classmethod
    def read(cls, text: bytes | None) -> ChainHead:
        """What ``text`` wrote; nothing there is the head of an empty chain, and "<seq> <hash>" one of before seals.

        Raises StoreBroken for anything else.
        """
        if not text:
            return cls()
        try:
            return cls.from_line(text.decode())
        except ValueError:
            before_seals = re.fullmatch(rb"([1-9][0-9]{0,14}) ([0-9a-f]{64})", text)
            if before_seals is None:
                raise StoreBroken("the head of the audit can't be read") from None
            return cls(int(before_seals[1]), before_seals[2].decode())

    @classmethod
    def from_line(cls, line: str) -> ChainHead:
        """An anchor that somebody kept. Raises ValueError for a line that is none."""
        parts = _ANCHOR.fullmatch(" ".join(line.split()))
        if parts is None:
            raise ValueError(f"an anchor is one line of six words, the first {LINE}")
        return cls(int(parts[1]), parts[2], parts[3], parts[4], parts[5])

    @classmethod
    def kept_in(cls, file: Path) -> ChainHead:
        """The anchor that a file keeps; the head of an empty chain where it keeps none that can be read."""
        try:
            return cls.from_line(file.read_text(encoding="ascii"))
        except FileNotFoundError:
            return cls()
        except (OSError, ValueError) as error:
            logger.warning("the audit's anchor can't be read: %s", error)
            return cls()

    def same_place(self, other: ChainHead) -> bool:
        """Whether the chain up to here is the same, whoever sealed it."""
        return (self.seq, self.hash) == (other.seq, other.hash)


class Seals:
    """The keys of one file. One without a private key (``Seals.none()``, a file of public keys) checks heads only."""

    def __init__(self, private: tuple[Ed25519PrivateKey, ...] = (), public: tuple[Ed25519PublicKey, ...] = ()) -> None:
        own = tuple(key.public_key() for key in private)
        self._public = MappingProxyType({key_id(key): key for key in (*own, *public)})
        self._private = private[0] if private else None
        self._macs = {key_id(key.public_key()): _mac_key(key) for key in private}
        self.key_id = key_id(own[0]) if own else ""

    @classmethod
    def none(cls) -> Seals:
        """No key at all."""
        return cls()

    @classmethod
    def read(cls, file: Path) -> Seals:
        """The keys of a file. Raises StoreBroken saying what is wrong with it, without its path."""
        try:
            data = file.read_bytes()
        except OSError as error:
            raise StoreBroken(f"the seal key's file can't be read: {error.strerror}") from None
        return cls.from_pem(data)

    @classmethod
    def from_pem(cls, data: bytes) -> Seals:
        """The keys of a file's content. Raises StoreBroken."""
        private: list[Ed25519PrivateKey] = []
        public: list[Ed25519PublicKey] = []
        try:
            for block in _PEM.finditer(data):
                if block[1] == b"PRIVATE":
                    private_key = load_pem_private_key(block[0], None)
                    if not isinstance(private_key, Ed25519PrivateKey):
                        raise StoreBroken("the seal key's file must hold Ed25519 keys")
                    private.append(private_key)
                else:
                    public_key = load_pem_public_key(block[0])
                    if not isinstance(public_key, Ed25519PublicKey):
                        raise StoreBroken("the seal key's file must hold Ed25519 keys")
                    public.append(public_key)
        except (ValueError, TypeError, UnsupportedAlgorithm):
            raise StoreBroken("the seal key's file holds a key that can't be read") from None
        if (not private and not public) or _PEM.sub(b"", data).strip():
            raise StoreBroken("the seal key's file must hold Ed25519 keys in PEM, and nothing else")
        return cls(tuple(private), tuple(public))

    @classmethod
    def of_environment(cls) -> Seals:
        """Those of the file that ACCORD_SEAL_KEY_FILE names; none where it names none. Raises StoreBroken."""
        file = os.environ.get(SEAL_KEY_FILE, "").strip()
        return cls.read(Path(file)) if file else cls.none()

    @classmethod
    def made_at(cls, file: Path) -> tuple[Seals, bool]:
        """Those of a file, which is made, for this user alone, where there is none; and whether it was.

        Of several that make it at once one does, and all get the same. Raises StoreBroken, OSError.
        """
        made = not file.exists() and _write_once(file, new_key())
        return cls.read(file), made

    @classmethod
    def write_new(cls, file: Path, old: bytes = b"") -> Seals:
        """Make a file with a new key in front of those of an ``old`` file.

        Raises StoreBroken, FileExistsError, OSError.
        """
        keys = new_key() + old
        seals = cls.from_pem(keys)
        if not _write_once(file, keys):
            raise FileExistsError
        return seals

    def public_pem(self) -> bytes:
        """The public halves of all keys, as a file of their own."""
        return b"".join(
            key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo) for key in self._public.values()
        )

    @property
    def can_seal(self) -> bool:
        """Whether there is a private key."""
        return self._private is not None

    def public_key(self, key_id: str) -> str:
        """The public half of a key as base64url without padding (32 bytes); empty where it is not known."""
        key = self._public.get(key_id)
        return "" if key is None else _base64url(key.public_bytes(Encoding.Raw, PublicFormat.Raw))

    # -- heads -------------------------------------------------------------------------------------------------------

    def sealed(self, head: ChainHead) -> ChainHead:
        """The head with the seal of the key in use. Raises StoreBroken where there is none."""
        if self._private is None:
            raise StoreBroken(f"nothing can be written without the key that seals the audit: set {SEAL_KEY_FILE}")
        named = replace(head, seal_key_id=self.key_id)
        return replace(named, signature=_base64url(self._private.sign(named.sealed_text().encode())))

    def fault_of(self, head: ChainHead) -> str:
        """What is wrong with a head's seal, a word of ``SEAL_FAULTS``; empty where it holds, or there is no entry."""
        if not head.seq:
            return ""
        if not head.signature:
            return "unsealed"
        key = self._public.get(head.seal_key_id)
        if key is None:
            return "key-unknown"
        try:
            key.verify(_from_base64url(head.signature), head.sealed_text().encode())
        except (InvalidSignature, ValueError):
            return "forged"
        return ""

    # -- anything else that travels ------------------------------------------------------------------------------------

    def sign(self, purpose: str, data: bytes) -> str:
        """The signature over ``purpose``, a line feed and the data, base64url; what was signed for one purpose is
        nothing for another. Raises StoreBroken where there is no private key."""
        if self._private is None:
            raise StoreBroken(f"nothing can be signed without the key that seals the audit: set {SEAL_KEY_FILE}")
        return _base64url(self._private.sign(_purposeful(purpose, data)))

    @staticmethod
    def verify(public_key: str, purpose: str, data: bytes, signature: str) -> None:
        """Hold a signature of ``sign`` against a public key in base64url. Raises SealError where it is not of that."""
        try:
            key = Ed25519PublicKey.from_public_bytes(_from_base64url(public_key))
            key.verify(_from_base64url(signature), _purposeful(purpose, data))
        except (InvalidSignature, ValueError):
            raise SealError("the signature is not of this key over this") from None

    # -- documents ---------------------------------------------------------------------------------------------------

    def document_seal(self, name: str, version: int | None, sha256: str) -> bytes:
        """What is kept beside a document: key, version (``-`` where whoever wrote did not know it) and MAC."""
        if not self.can_seal:
            raise StoreBroken(f"nothing can be written without the key that seals the audit: set {SEAL_KEY_FILE}")
        shown = "-" if version is None else str(version)
        return f"{self.key_id} {shown} {self._mac(self.key_id, name, shown, sha256)}".encode()

    def is_sealed(self, name: str, version: int, sha256: str, seal: bytes | None) -> bool:
        """Whether a key of ours sealed just this document under this name. Without a private key that can't be told,
        and True is what is said."""
        if not self._macs:
            return True
        words = (seal or b"").decode("ascii", "replace").split(" ")
        if len(words) != 3 or words[0] not in self._macs or words[1] not in ("-", str(version)):
            return False
        return hmac.compare_digest(words[2].encode(), self._mac(words[0], name, words[1], sha256).encode())

    def _mac(self, key_id: str, name: str, version: str, sha256: str) -> str:
        return hmac.digest(self._macs[key_id], f"{name}\n{version}\n{sha256}".encode(), "sha256").hex()


class SealError(ValueError):
    """A signature that does not hold."""


SEAL_FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "unsealed": "the head of the audit is not sealed",
        "key-unknown": "the head of the audit is sealed with a key that is not in the seal key's file",
        "forged": "the seal on the head of the audit is not of the key that it names",
    }
)


def new_key() -> bytes:
    """A new private key, as a seal key's file holds it."""
    return Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def key_id(key: Ed25519PublicKey) -> str:
    """The first digits of the SHA-256 of a public key."""
    return hashlib.sha256(key.public_bytes(Encoding.Raw, PublicFormat.Raw)).hexdigest()[:KEY_ID_DIGITS]


def _purposeful(purpose: str, data: bytes) -> bytes:
    return purpose.encode() + b"\n" + data


def _mac_key(key: Ed25519PrivateKey) -> bytes:
    seed = key.private_bytes(Encoding.Raw, PrivateFormat.Raw, NoEncryption())
    return hmac.digest(seed, b"platen-accord document seal 1", "sha256")


def _write_once(file: Path, data: bytes) -> bool:
    """Make a whole file that only this user can read; False where another made it first."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, opened = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        os.link(opened, file)
    except FileExistsError:
        return False
    finally:
        os.unlink(opened)
    return True


def _base64url(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def _from_base64url(text: str) -> bytes:
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        raise ValueError("not base64url") from None
