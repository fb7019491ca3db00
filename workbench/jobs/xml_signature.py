"""The signature of a digital certificate: XAdES (ETSI EN 319 132-1, from memory), enveloped, with
the shop's key out of a PKCS#12 file. Who signed is told by the X.509 certificate within it; whether
that is to be trusted, the person decides by its fingerprint.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbench.base.errors import Message, WrongInput
from workbench.base.files import read_bytes

DIGITAL = ".xml"
"""The ending of a digital certificate."""
VARIABLE = "EVENPACE_PKCS12"
"""Names the shop's key file; its password is asked for and stored nowhere."""
_MOST_KEY_BYTES, _MOST_XML_BYTES = 1_000_000, 200_000_000
_DS = "{http://www.w3.org/2000/09/xmldsig#}"
_XADES = "{http://uri.etsi.org/01903/v1.3.2#}"


@dataclass(frozen=True, slots=True)
class Signed:
    """What a file's signature says: whether it is `unchanged` since, and by whom it was signed.

    `signed_at` is the time the signer claims, '' where none; `sha256` that of the signer's
    certificate; `by_itself` where nobody else vouches for it.
    """

    unchanged: bool
    signed_by: str
    issued_by: str
    sha256: str
    signed_at: str

    @property
    def by_itself(self) -> bool:
        return self.signed_by == self.issued_by


@dataclass(frozen=True, slots=True)
class XmlSigner:
    """The shop's key with its certificate and those that vouch for it."""

    key: Any
    certificates: tuple[Any, ...]

    def sign(self, xml: bytes) -> bytes:
        """The XML with its signature as the last part of its root."""
        etree, _signxml, xades = _library()
        from cryptography.hazmat.primitives.asymmetric import ec

        curve = isinstance(self.key, ec.EllipticCurvePrivateKey)
        form = xades.XAdESDataObjectFormat(Description="DCC", MimeType="text/xml")
        signer = xades.XAdESSigner(
            signature_algorithm="ecdsa-sha256" if curve else "rsa-sha256", data_object_format=form
        )
        root = signer.sign(etree.fromstring(xml), key=self.key, cert=list(self.certificates))
        signed: bytes = etree.tostring(root, encoding="utf-8", xml_declaration=True)
        return signed


def xml_signer(path: Path, password: str) -> XmlSigner:
    """The key of a PKCS#12 file. Raises WrongInput where it is none or the password is wrong."""
    _library()
    from cryptography.hazmat.primitives.serialization import pkcs12

    content = read_bytes(path, _MOST_KEY_BYTES, Message("a PKCS#12 file"))
    try:
        found = pkcs12.load_key_and_certificates(content, password.encode())
    except ValueError:
        raise WrongInput(
            "{path}: it is no PKCS#12 file, or the password is wrong.", path=path
        ) from None
    key, certificate, others = found
    if key is None or certificate is None or not hasattr(key, "sign"):
        raise WrongInput("{path}: it holds no key with its certificate.", path=path)
    return XmlSigner(key, (certificate, *others))


def signature_of(path: Path) -> Signed | None:
    """What a file's signature says, None where it has none. Raises WrongInput."""
    etree, signxml, xades = _library()
    content = read_bytes(path, _MOST_XML_BYTES, Message("a digital certificate"))
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        root = etree.fromstring(content, parser)
    except etree.XMLSyntaxError as error:
        raise WrongInput("{path}: it is no XML ({error}).", path=path, error=error) from None
    signatures = root.findall(f".//{_DS}Signature")
    if not signatures:
        return None
    certificate = _certificate(signatures[0])
    if len(signatures) > 1 or signatures[0].getparent() is not root or certificate is None:
        raise WrongInput(
            "{path}: expected one signature, of the whole file, with its signer's certificate.",
            path=path,
        )
    references = signatures[0].findall(f"{_DS}SignedInfo/{_DS}Reference")
    whole = any(one.get("URI") == "" for one in references)
    config = xades.XAdESSignatureConfiguration(expect_references=len(references))
    try:
        xades.XAdESVerifier().verify(content, x509_cert=certificate, expect_config=config)
    except (signxml.exceptions.SignXMLException, ValueError):
        whole = False
    from cryptography.hazmat.primitives import hashes

    at = root.find(f".//{_XADES}SigningTime")
    return Signed(
        unchanged=whole,
        signed_by=certificate.subject.rfc4514_string(),
        issued_by=certificate.issuer.rfc4514_string(),
        sha256=certificate.fingerprint(hashes.SHA256()).hex(),
        signed_at=at.text if at is not None and at.text else "",
    )


def _certificate(signature: Any) -> Any:
    """The signer's own X.509 certificate; None where none can be read."""
    from cryptography import x509

    found = signature.find(f"{_DS}KeyInfo//{_DS}X509Certificate")
    try:
        return x509.load_der_x509_certificate(base64.b64decode(found.text))
    except (AttributeError, TypeError, ValueError):
        return None


def _library() -> tuple[Any, Any, Any]:
    try:
        import signxml
        from lxml import etree
        from signxml import xades
    except ImportError:
        raise WrongInput(
            "Signed certificates need the signxml library; install evenpace with its extra "
            "'signing'."
        ) from None
    return etree, signxml, xades
