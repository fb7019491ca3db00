"""A digital certificate that the shop signs, and what `evenpace verify FILE.xml` says of it.

Signed with keys that the cryptography library makes; valid by the schema too, which knows the
XML signature of the W3C."""

import getpass
import json
import re
from datetime import datetime

import pytest

from workbench.cli import main
from workbench.records.store import open_store

pytest.importorskip("signxml", reason="signxml is not installed")
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from tests.workbench.invented import SHOP, SHOP_RUNS_BY_HAND

PASSWORD = "Öl & Kette"
KEYS = {
    "rsa": lambda: rsa.generate_private_key(65537, 2048),
    "curve": lambda: ec.generate_private_key(ec.SECP256R1()),
}


def key_file(path, key, password=PASSWORD):
    """A PKCS#12 file with a certificate of the shop's own."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Hill workshop")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(datetime(2020, 1, 1))
        .not_valid_after(datetime(2060, 1, 1))
        .sign(key, hashes.SHA256())
    )
    lock = serialization.BestAvailableEncryption(password.encode())
    path.write_bytes(pkcs12.serialize_key_and_certificates(b"shop", key, certificate, None, lock))
    return certificate


@pytest.fixture(params=KEYS)
def shop(request, tmp_path, monkeypatch, own_store):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(getpass, "getpass", lambda *_: PASSWORD)
    open_store(str(own_store)).close()
    for name, text in (("m.toml", SHOP), ("runs.csv", SHOP_RUNS_BY_HAND)):
        (tmp_path / name).write_text(text)
    certificate = key_file(tmp_path / "shop.p12", KEYS[request.param]())
    words = ["calibrate", "runs.csv", "--machine", "m.toml", "--report", "c.xml"]
    assert main([*words, "--sign", "shop.p12"]) in (0, 1)
    return tmp_path, certificate


def verified(capsys, name):
    capsys.readouterr()
    status = main(["verify", name, "--json"])
    return status, json.loads(capsys.readouterr().out)


def test_it_says_who_signed_it_and_that_it_is_unchanged(shop, capsys):
    _folder, certificate = shop
    status, found = verified(capsys, "c.xml")
    assert (status, found["verified"], found["signed"]) == (0, True, True)
    assert found["signed_by"] == found["issued_by"] == "CN=Hill workshop"
    assert found["sha256"] == certificate.fingerprint(hashes.SHA256()).hex()
    assert main(["verify", "c.xml"]) == 0
    printed = capsys.readouterr().out
    assert "nobody else" in printed
    assert "CN=Hill workshop" in printed


@pytest.mark.parametrize(
    ("what", "by"),
    [
        ("cannot tell|conditional fail", "pass"),
        (r"<si:value>\d", "<si:value>9"),
        ("<dcc:dataBase64>....", "<dcc:dataBase64>AAAA"),
        (r"(SigningTime>)20..", r"\g<1>2011"),
    ],
)
def test_whatever_is_changed_is_told(shop, capsys, what, by):
    folder, _certificate = shop
    text = (folder / "c.xml").read_text("utf-8")
    changed = re.sub(what, by, text, count=1)
    assert changed != text
    (folder / "d.xml").write_text(changed, "utf-8")
    status, found = verified(capsys, "d.xml")
    assert (status, found["verified"]) == (1, False)


def test_a_signature_of_another_file_is_none_of_this(shop, capsys):
    """Also where the signed file is put inside another, as a wrapping attack does."""
    folder, _certificate = shop
    text = (folder / "c.xml").read_text("utf-8").partition("?>")[2]
    (folder / "d.xml").write_text(f"<outer>{text}</outer>", "utf-8")
    assert main(["verify", "d.xml"]) == 2
    assert main(["report", "1", "-o", "plain.xml"]) == 0
    plain = (folder / "plain.xml").read_text("utf-8")
    signature = re.search(r"<ds:Signature .*</ds:Signature>", text, re.DOTALL)[0]
    end = "</dcc:digitalCalibrationCertificate>"
    (folder / "e.xml").write_text(plain.replace("SN 4711", "SN 1").replace(end, signature + end))
    assert verified(capsys, "e.xml")[0] == 1


def test_one_that_is_not_signed_or_no_certificate_is_told(shop, capsys):
    folder, _certificate = shop
    assert main(["report", "1", "-o", "plain.xml"]) == 0
    status, found = verified(capsys, "plain.xml")
    assert (status, found["signed"]) == (1, False)
    (folder / "x.xml").write_text("no XML")
    assert main(["verify", "x.xml"]) == 2
    assert main(["verify", "nowhere.xml"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_wrong_password_is_told_before_the_work(shop, monkeypatch, capsys):
    monkeypatch.setattr(getpass, "getpass", lambda *_: "wrong")
    for name in ("shop.p12", "runs.csv", "nowhere.p12"):
        assert main(["report", "1", "-o", "again.xml", "--sign", name]) == 2
    assert "the password is wrong" in capsys.readouterr().err
    assert not (shop[0] / "again.xml").exists()


def test_the_signed_one_is_valid_by_the_schema(shop, dcc_schema):
    dcc_schema.validate(str(shop[0] / "c.xml"))
