"""The shop's own certificate: read, and tried out in memory before anybody relies on it."""

import os
import ssl
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from match.errors import NetworkError

_EXPIRED, _NOT_YET, _NO_SUCH_NAME, _NO_SUCH_ADDRESS = 10, 9, 62, 64
"""OpenSSL's X509_V_ERR codes (x509_vfy.h) of a certificate's dates and names."""


@dataclass(frozen=True)
class CertificateFiles:
    """A certificate (with those it rests on behind it) and its key, both PEM."""

    certificate: Path
    key: Path


def named_files(certificate: str | None, key: str | None) -> CertificateFiles | None:
    """Return both files, or None where neither is named; raises :class:`NetworkError` for one without the other."""
    if certificate and key:
        return CertificateFiles(Path(certificate), Path(key))
    if certificate or key:
        lacking = "--key" if certificate else "--certificate"
        raise NetworkError(f"a certificate and its key belong together: give {lacking} too")
    return None


def tls(files: CertificateFiles, host: str) -> ssl.SSLContext:
    """Return what serves TLS 1.2 or newer with these files, after a handshake with them as ``host`` has succeeded.

    Raises :class:`NetworkError` when a file cannot be read, the key can be read by others or is another's, the
    certificate's time is over or has not begun, or it is not for ``host``.
    """
    _require_own_key(files.key)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(files.certificate, files.key, password=_no_password(files.key))
    except OSError as error:  # ssl.SSLError is one
        raise NetworkError(_unusable(files, error)) from None
    _try(context, files.certificate, host)
    return context


def _require_own_key(key: Path) -> None:
    try:
        status = key.stat()
        key.read_bytes()
    except OSError as error:
        raise NetworkError(f"the key {key} cannot be read ({error.strerror}): check --key") from None
    if os.name == "posix" and stat.S_IMODE(status.st_mode) & 0o077:
        raise NetworkError(f"the key {key} can be read by other users of this computer: run chmod 600 on it first")


def _no_password(key: Path) -> Callable[[], str]:
    def ask() -> str:
        raise NetworkError(f"the key {key} is locked with a password: give one that opens without")

    return ask


def _unusable(files: CertificateFiles, error: OSError) -> str:
    if not isinstance(error, ssl.SSLError):
        return f"the certificate {files.certificate} cannot be read ({error.strerror}): check --certificate"
    if error.reason == "KEY_VALUES_MISMATCH":
        return f"the key {files.key} is not the one of the certificate {files.certificate}: give those of one pair"
    return f"{files.certificate} and {files.key} are not a certificate and its key in PEM: give the two files as text"


def _try(server: ssl.SSLContext, certificate: Path, host: str) -> None:
    """Shake hands in memory as a phone would that trusts this very certificate."""
    phone = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    phone.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
    try:
        phone.load_verify_locations(certificate)
    except ssl.SSLError:
        raise NetworkError(f"{certificate} is no certificate in PEM: check --certificate") from None
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = (
        phone.wrap_bio(back, there, server_hostname=host),
        server.wrap_bio(there, back, server_side=True),
    )
    try:
        for end in ends * 3:
            _step(end)
    except ssl.SSLCertVerificationError as error:
        raise NetworkError(_unfit(certificate, host, error)) from None


def _step(end: ssl.SSLObject) -> None:
    try:
        end.do_handshake()
    except ssl.SSLWantReadError:
        return


def _unfit(certificate: Path, host: str, error: ssl.SSLCertVerificationError) -> str:
    if error.verify_code == _EXPIRED:
        return f"the certificate {certificate} has run out: give one that is still good"
    if error.verify_code == _NOT_YET:
        return f"the certificate {certificate} is not good yet: check this computer's clock, or give another"
    if error.verify_code in (_NO_SUCH_NAME, _NO_SUCH_ADDRESS):
        return f"the certificate {certificate} is not for {host}: give the name that it is for with --phone-name"
    return f"the certificate {certificate} would be refused by every phone ({error.verify_message}): give another"
