"""The shop's own certificate: used when it is good, refused in one sentence for each thing that can be wrong with it.

The certificates are made by OpenSSL's own program.
"""

import shutil
import ssl
import subprocess

import pytest

from match.errors import NetworkError
from match.network.certificate import named_files, tls

pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="OpenSSL's program is not on this computer")


def made(folder, name, *more, key_mode=0o600):
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    kind = ("-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-noenc", "-subj", "/CN=shop")
    more = more or ("-days", "9", *FOR_ADDRESS)
    command = ["openssl", "req", *kind, "-keyout", key, "-out", certificate, *more]
    subprocess.run(command, check=True, capture_output=True)
    key.chmod(key_mode)
    return certificate, key


CONFIGURATION = """
[ca]
default_ca = own
[own]
database = index
serial = serial
new_certs_dir = .
default_md = sha256
policy = any
x509_extensions = use
[any]
commonName = supplied
[use]
subjectAltName = IP:127.0.0.2
"""


def dated(folder, name, key, start, end):
    """Make a certificate of this key that is good from ``start`` to ``end``; only OpenSSL's small authority can."""
    (folder / "index").write_text("")
    (folder / "ca.cnf").write_text(CONFIGURATION)
    given = ("-keyfile", key, "-in", "request.pem", "-startdate", start, "-enddate", end)
    for command in (
        ("req", "-new", "-key", key, "-subj", "/CN=shop", "-out", "request.pem"),
        ("ca", "-batch", "-selfsign", "-config", "ca.cnf", "-rand_serial", "-notext", *given, "-out", f"{name}.pem"),
    ):
        subprocess.run(["openssl", *command], cwd=folder, check=True, capture_output=True)
    return folder / f"{name}.pem", key


FOR_ADDRESS = ("-addext", "subjectAltName=IP:127.0.0.2")


def test_a_good_pair_serves_tls_of_today(tmp_path):
    context = tls(named_files(*map(str, made(tmp_path, "good"))), "127.0.0.2")
    assert context.minimum_version >= ssl.TLSVersion.TLSv1_2


def test_one_without_the_other_is_refused_and_neither_is_neither():
    assert named_files(None, "") is None
    with pytest.raises(NetworkError, match="--key too"):
        named_files("a.pem", None)
    with pytest.raises(NetworkError, match="--certificate too"):
        named_files(None, "a.key")


def test_every_fault_is_named_in_one_sentence(tmp_path):
    good, other = made(tmp_path, "good"), made(tmp_path, "other")
    named = made(tmp_path, "named", "-days", "9", "-addext", "subjectAltName=DNS:desk.invalid")
    over = dated(tmp_path, "over", good[1], "20200101000000Z", "20200102000000Z")
    early = dated(tmp_path, "early", good[1], "20700101000000Z", "20700102000000Z")
    open_key = made(tmp_path, "open", key_mode=0o644)
    locked = tmp_path / "locked.key"
    subprocess.run(
        ["openssl", "pkey", "-in", good[1], "-aes256", "-passout", "pass:secret", "-out", locked], check=True
    )
    locked.chmod(0o600)
    text = tmp_path / "text.pem"
    text.write_text("no certificate\n")
    text.chmod(0o600)
    wrong = {
        (good[0], other[1]): "is not the one of the certificate",
        named: "is not for 127.0.0.2: give the name that it is for with --phone-name",
        over: "has run out",
        early: "is not good yet",
        open_key: "chmod 600",
        (good[0], locked): "locked with a password",
        (text, good[1]): "not a certificate and its key in PEM",
        (good[0], text): "not a certificate and its key in PEM",
        (tmp_path / "none.pem", good[1]): "cannot be read",
        (good[0], tmp_path / "none.key"): "cannot be read",
    }
    for files, words in wrong.items():
        with pytest.raises(NetworkError, match=words) as refused:
            tls(named_files(*map(str, files)), "127.0.0.2")
        assert "\n" not in str(refused.value)
    assert tls(named_files(*map(str, named)), "desk.invalid")
