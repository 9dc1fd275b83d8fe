"""The signature of a hand-over: Ed25519 (RFC 8032) over the bytes of SHA256SUMS, 64 plain bytes in a file beside it.

Any tool that knows the standard checks it, such as
`openssl pkeyutl -verify -pubin -inkey public.pem -rawin -in SHA256SUMS -sigfile SHA256SUMS.sig`.
"""

import os
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from asbuilt.errors import InputError, OutputError, Problem
from asbuilt.publish import checksums
from asbuilt.second.check import Seen
from asbuilt.second.files import contents, plain_file
from asbuilt.second.handed_over import HandedOver
from asbuilt.second.of_files import files_are_listed, sums_hold

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

_BYTES = 64
_MOST_BYTES = 1 << 20
_MAKE_PRIVATE = "make one with: openssl genpkey -algorithm ed25519 -out private.pem"
_MAKE_PUBLIC = "make it with: openssl pkey -in private.pem -pubout -out public.pem"


def sign(out: HandedOver, key: Path, ask: Callable[[], str]) -> Path:
    """Write SHA256SUMS.sig beside SHA256SUMS, in place of an earlier one, and return its path.

    `key` is a private Ed25519 key as PEM (PKCS 8); `ask` is called for its passphrase, if it has one. Raises
    InputError where the key will not do, or where the hand-over is not the one that its checksums are of.
    """
    faults = [*sums_hold(out).faults, *files_are_listed(out).faults]
    if faults:
        raise InputError([Problem(str(out.folder), fault, "sign a whole hand-over only") for fault in faults])
    private = _private(key, ask)
    signed = private.sign(contents(out.folder, checksums.NAME, _MOST_BYTES))
    place = out.folder / checksums.SIGNATURE
    beside = out.folder.with_name(f".{out.folder.name}.{checksums.SIGNATURE}")
    try:
        beside.write_bytes(signed)
        os.replace(beside, place)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise OutputError(
            Problem(str(place), f"it cannot be written ({error.strerror})", "check its rights")
        ) from error
    return place


def signature_holds(out: HandedOver, key: Path) -> Seen:
    """Look whether the signature over SHA256SUMS is by the public key in the PEM file `key`. Raises InputError."""
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415 - the library may not be there

    public = _public(key)
    signed = contents(out.folder, checksums.SIGNATURE, _MOST_BYTES)
    at = f"{checksums.SIGNATURE} by the key {key.name}"
    if len(signed) != _BYTES:
        return Seen(at, (f"{checksums.SIGNATURE} has {len(signed):,} bytes, not the {_BYTES} of a signature",))
    try:
        public.verify(signed, contents(out.folder, checksums.NAME, _MOST_BYTES))
    except InvalidSignature:
        return Seen(at, (f"{checksums.NAME} was not signed, as it is now, by the key in {key.name}",))
    return Seen(at)


def signature_is_looked_at(out: HandedOver) -> Seen:
    """Say that there is a signature and no key to look at it with, or no signature."""
    if checksums.SIGNATURE not in out.names:
        return Seen(checksums.SIGNATURE, not_looked="not signed")
    plain_file(out.folder, checksums.SIGNATURE)
    return Seen(checksums.SIGNATURE, not_looked="signed: name the signer's public key with --signed-by")


def refuse_without_library() -> None:
    """Raise InputError where the library for signatures is not installed."""
    if find_spec("cryptography") is None:
        what = "the library for signatures, cryptography, is not installed"
        raise InputError(Problem("signature", what, "install asbuilt with its extra: pip install 'asbuilt[sign]'"))


def _private(path: Path, ask: Callable[[], str]) -> "Ed25519PrivateKey":
    refuse_without_library()
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415
    from cryptography.hazmat.primitives.serialization import load_pem_private_key  # noqa: PLC0415

    data = _key_file(path)
    try:
        phrase = ask().encode() if b"ENCRYPTED" in data else None
        key = load_pem_private_key(data, phrase)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise InputError(
            Problem(str(path), f"it is no private key that can be read ({error})", _MAKE_PRIVATE)
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError(Problem(str(path), "it is not an Ed25519 key", _MAKE_PRIVATE))
    return key


def _public(path: Path) -> "Ed25519PublicKey":
    refuse_without_library()
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415
    from cryptography.hazmat.primitives.serialization import load_pem_public_key  # noqa: PLC0415

    data = _key_file(path)
    if b"PRIVATE KEY" in data:
        raise InputError(Problem(str(path), "it is a private key, which nobody else should have", _MAKE_PUBLIC))
    try:
        key = load_pem_public_key(data)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise InputError(Problem(str(path), f"it is no public key that can be read ({error})", _MAKE_PUBLIC)) from error
    if not isinstance(key, Ed25519PublicKey):
        raise InputError(Problem(str(path), "it is not an Ed25519 key", _MAKE_PUBLIC))
    return key


def _key_file(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_MOST_BYTES)
    except OSError as error:
        raise InputError(
            Problem(str(path), f"it cannot be read ({error.strerror})", "name a key as a PEM file")
        ) from error
