"""Published attacks on sealed PDFs, one by one, and who refuses them.

The table says what pyHanko and poppler's pdfsig make of each forged file. Both accept some:
that is why this project's own verifier, which has to refuse every one, is stricter than either.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding

from tests.proof import attacks
from tests.proof.judges import pdfsig_accepts, pyhanko_accepts
from tests.proof.made_up import numbered_keys
from tests.proof.pdfs import AT, SHOP, plain_pdf
from webapp.proof.keys.key_ring import KeyRing, seal_certificate
from webapp.proof.pdf.pdf_verify import verify_seal

ACCEPTED, REFUSED = True, False

# attack, the first line of ours that does not hold, pyHanko, pdfsig
TABLE = [
    (attacks.empty_contents, "seal.place", REFUSED, REFUSED),
    (attacks.blank_contents, "seal.container", REFUSED, REFUSED),
    (attacks.zero_contents, "seal.container", REFUSED, REFUSED),
    (attacks.one_byte_contents, "seal.place", REFUSED, REFUSED),
    (attacks.null_contents, "seal.place", REFUSED, REFUSED),
    (attacks.absent_contents, "seal.place", REFUSED, REFUSED),
    (attacks.absent_byte_range, "seal.place", REFUSED, REFUSED),
    (attacks.null_byte_range, "seal.place", REFUSED, REFUSED),
    (attacks.empty_byte_range, "seal.coverage", REFUSED, REFUSED),
    (attacks.zero_byte_range, "seal.coverage", REFUSED, REFUSED),
    (attacks.shrunk_byte_range, "seal.coverage", REFUSED, REFUSED),
    (attacks.shifted_byte_range, "seal.coverage", REFUSED, REFUSED),
    (attacks.wider_gap, "seal.coverage", REFUSED, REFUSED),
    (attacks.negative_byte_range, "seal.place", REFUSED, REFUSED),
    (attacks.extra_byte_range_parts, "seal.coverage", REFUSED, REFUSED),
    (attacks.same_range_spelt_otherwise, "seal.coverage", REFUSED, REFUSED),
    (attacks.lower_case_contents, "seal.container", ACCEPTED, ACCEPTED),
    (attacks.filled_padding, "seal.container", ACCEPTED, REFUSED),
    (attacks.mirrored_signature, "seal.signature", ACCEPTED, ACCEPTED),
    (attacks.trailing_byte, "seal.coverage", REFUSED, REFUSED),
    (attacks.trailing_junk, "seal.coverage", REFUSED, REFUSED),
    (attacks.leading_byte, "seal.coverage", REFUSED, REFUSED),
    (attacks.truncated, "seal.coverage", REFUSED, REFUSED),
    (attacks.appended_update, "seal.coverage", REFUSED, REFUSED),
    (attacks.appended_update_without_cross_references, "seal.coverage", REFUSED, REFUSED),
    (attacks.replaced_cross_references, "seal.coverage", REFUSED, REFUSED),
    (attacks.redirected_startxref, "seal.digest", REFUSED, REFUSED),
    (attacks.hybrid_cross_references, "seal.coverage", REFUSED, REFUSED),
    (attacks.wrapped_signature, "seal.coverage", REFUSED, REFUSED),
    (attacks.transplanted_container, "seal.digest", REFUSED, REFUSED),
    (attacks.removed_seal, "seal.place", REFUSED, REFUSED),
    (attacks.annotation_overlay, "seal.coverage", REFUSED, REFUSED),
    (attacks.second_signature_overlay, "seal.place", REFUSED, REFUSED),
    (attacks.hidden_layer, "seal.judge", ACCEPTED, ACCEPTED),
    (attacks.hidden_layer_shown_later, "seal.coverage", REFUSED, REFUSED),
    (attacks.field_in_the_sealed_file, "seal.judge", ACCEPTED, ACCEPTED),
    (attacks.field_value_swapped_later, "seal.coverage", REFUSED, REFUSED),
    (attacks.object_used_again, "seal.judge", ACCEPTED, ACCEPTED),
    (attacks.script_in_the_sealed_file, "seal.judge", ACCEPTED, ACCEPTED),
    (attacks.foreign_seal, "seal.certificate", REFUSED, ACCEPTED),
    (attacks.own_signature_under_the_shops_certificate, "seal.signature", REFUSED, REFUSED),
]


@pytest.mark.parametrize(
    ("forge", "code", "pyhanko", "pdfsig"), TABLE, ids=[row[0].__name__ for row in TABLE]
)
def test_a_forged_file_is_refused(
    sealed: bytes,
    keyring: KeyRing,
    tmp_path: Path,
    forge: attacks.Forge,
    code: str,
    pyhanko: bool,
    pdfsig: bool,
) -> None:
    forged = forge(sealed, keyring)
    assert forged != sealed
    report = verify_seal(forged, keyring.trusted_certificates)
    assert report.failures[0].code == code
    assert report.as_text().startswith("Something does not hold.")
    assert pyhanko_accepts(forged, keyring.trusted_certificates) == pyhanko
    assert pdfsig_accepts(forged, tmp_path) == pdfsig


def test_every_attack_is_in_the_table() -> None:
    forgers = {
        name
        for name, value in vars(attacks).items()
        if callable(value)
        and getattr(value, "__module__", "") == attacks.__name__
        and not name.startswith("_")
    }
    assert forgers == {row[0].__name__ for row in TABLE}


def test_both_other_verifiers_accept_a_good_file(sealed: bytes, keyring: KeyRing, tmp_path: Path) -> None:
    assert verify_seal(sealed, keyring.trusted_certificates).holds
    assert pyhanko_accepts(sealed, keyring.trusted_certificates)
    assert pdfsig_accepts(sealed, tmp_path)


@pytest.mark.parametrize(
    ("forge", "found"),
    [
        (attacks.hidden_layer, "optional content"),
        (attacks.field_in_the_sealed_file, "annotation, form"),
        (attacks.script_in_the_sealed_file, "action, action at opening, script"),
    ],
)
def test_what_a_prepared_file_hides_is_named(
    sealed: bytes, keyring: KeyRing, forge: Callable[[bytes, KeyRing], bytes], found: str
) -> None:
    report = verify_seal(forge(sealed, keyring), keyring.trusted_certificates)
    assert report.line("seal.content").fields["found"] == found


def test_a_certificate_that_the_system_trusts_is_not_trusted_here(
    sealed: bytes, keyring: KeyRing, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The seal's own certificate is put where programs look for the system's roots; it changes nothing."""
    bundle = tmp_path / "roots.pem"
    bundle.write_bytes(keyring.seal_certificate.public_bytes(Encoding.PEM))
    monkeypatch.setenv("SSL_CERT_FILE", str(bundle))
    monkeypatch.setenv("SSL_CERT_DIR", str(tmp_path))
    key = numbered_keys(6001)()
    report = verify_seal(sealed, (seal_certificate(key, SHOP, AT, 99),))
    assert report.line("seal.certificate").says == "seal.certificate.not_ours"
    assert not report.holds
    with pytest.raises(ValueError, match="never used"):
        verify_seal(sealed, ())


def test_the_sealed_plain_file_is_what_the_attacks_start_from(sealed: bytes) -> None:
    assert sealed.startswith(plain_pdf())
