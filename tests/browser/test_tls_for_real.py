"""A browser that trusts the shop's own authority and nothing else, at the real server by TLS."""

from __future__ import annotations

import http.client
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from playwright.sync_api import BrowserContext, Error, Page, Playwright

from tests.kit import tls
from tests.kit.chromium import shift_clock
from tests.kit.demo import Demo
from tests.kit.engines.offline_setup import self_test
from tests.kit.tablet import REPEAT_MS, Tablet
from webapp.cli import main
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE, authority_key, fingerprint

KEY = ec.derive_private_key(4_401, ec.SECP256R1())


@pytest.fixture(scope="module")
def demo(demo_shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Demo:
    return Demo.copy(demo_shop, tmp_path_factory.mktemp("tls") / "shop")


@pytest.fixture(scope="module")
def server(demo: Demo) -> Iterator[tls.TlsServer]:
    server = tls.TlsServer(demo.folder)
    server.start()
    yield server
    server.kill()


@pytest.fixture(scope="module")
def trusting(
    playwright: Playwright, server: tls.TlsServer, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[BrowserContext]:
    home = tmp_path_factory.mktemp("home")
    tls.trust(home, server.authority)
    context = tls.browser_at(playwright, home)
    yield context
    context.close()


@pytest.fixture
def page(trusting: BrowserContext) -> Iterator[Page]:
    page = trusting.new_page()
    yield page
    page.close()


@pytest.mark.parametrize("by", ["name", "address"])
def test_a_device_that_trusts_the_authority_passes_its_test_by_name_and_by_address(
    page: Page, server: tls.TlsServer, by: str
) -> None:
    said = self_test(page, server.address if by == "name" else server.by_address)
    assert {said[name] for name in ("secure", "worker", "keys")} == {"passes"}
    assert said["kept"] in {"passes", "fails"}  # the browser decides by how much the site is used


def test_a_tablet_is_enrolled_by_name_and_opens_again_without_the_server(
    page: Page, server: tls.TlsServer, demo: Demo
) -> None:
    tablet = Tablet(page, server.address)
    tablet.enrol(demo.code())
    server.kill()
    try:
        tablet.reload()
        assert tablet.screen == "machines"
        assert tablet.offers("machine")
        tablet.page.wait_for_selector("text=The server was last reached")
        assert "certificate holds" not in tablet.text()
        shift_clock(page, 3 * 366 * 24)
        tablet.reload()
        tablet.page.wait_for_selector("text=the server's certificate holds from")
    finally:
        server.start()


def test_a_device_that_trusts_nothing_is_stopped_and_one_whose_warning_was_clicked_away_is_not_enrolled(
    playwright: Playwright, server: tls.TlsServer, demo: Demo, tmp_path: Path
) -> None:
    context = tls.browser_at(playwright, tmp_path / "home")
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        context.new_page().goto(server.address)
    context.close()
    context = tls.browser_at(playwright, tmp_path / "blind", blind=True)
    try:
        tablet = Tablet(context.new_page(), server.address)
        assert self_test(tablet.page, server.address)["worker"] == "fails"
        tablet.open()
        tablet.page.fill("#code", demo.code(code="CLICKEDAWAY"))
        tablet.page.fill("#label", "Clicked away")
        tablet.page.locator('[data-action="stays"]').check()
        tablet.page.wait_for_timeout(REPEAT_MS)
        tablet.find("enrol").click()
        tablet.page.wait_for_selector("#refused .notice")
        assert "does not trust the shop's certificate" in tablet.text()
        assert tablet.rows("keys") == []
    finally:
        context.close()


# What stands on each line of some text.
LINES = """selector => {
  const text = document.querySelector(selector);
  const range = document.createRange();
  const lines = new Map();
  const walker = document.createTreeWalker(text, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode())
    for (let place = 0; place < node.length; place += 1) {
      range.setStart(node, place);
      range.setEnd(node, place + 1);
      const {top} = range.getBoundingClientRect();
      lines.set(top, (lines.get(top) ?? '') + node.data[place]);
    }
  return [...lines.values()].map(line => line.trim()).filter(Boolean);
}"""


def forged(demo: Demo, *names: str, begin: int = -30, end: int = 30) -> list[x509.Certificate]:
    """What somebody who has the authority's key could sign, with days of its term counted from now."""
    folder = demo.folder / "certificate"
    authority = x509.load_pem_x509_certificate((folder / "authority.pem").read_bytes())
    passphrase = (demo.folder / "unlock").read_text().strip()
    key, now = authority_key(folder / AUTHORITY_KEY_FILE, passphrase), datetime.now(UTC)
    leaf = (
        x509.CertificateBuilder(issuer_name=authority.subject, subject_name=x509.Name([]))
        .public_key(KEY.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + timedelta(days=begin))
        .not_valid_after(now + timedelta(days=end))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name) for name in names]), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    )
    return [leaf.sign(key, SHA256()), authority]


@pytest.mark.parametrize(
    ("names", "term", "says"),
    [
        ((tls.NAME,), (-30, 30), None),
        (("bank.example.lan",), (-30, 30), "ERR_CERT_(INVALID|NAME_CONSTRAINT_VIOLATION|AUTHORITY_INVALID)"),
        ((tls.NAME, "bank.example.lan"), (-30, 30), "ERR_CERT_"),
        (("below." + tls.NAME,), (-30, 30), "ERR_CERT_COMMON_NAME_INVALID"),
        ((tls.NAME,), (-30, -1), "ERR_CERT_DATE_INVALID"),
        ((tls.NAME,), (1, 30), "ERR_CERT_DATE_INVALID"),
    ],
    ids=["as it should be", "outside", "one name outside", "another host", "ended", "the clock is behind"],
)
def test_a_browser_takes_from_the_authority_only_what_it_may_vouch_for_and_only_in_its_time(
    page: Page, demo: Demo, tmp_path: Path, names: tuple[str, ...], term: tuple[int, int], says: str | None
) -> None:
    host = names[0] if "bank" in names[0] else tls.NAME
    with tls.shown(tmp_path, KEY, forged(demo, *names, begin=term[0], end=term[1])) as port:
        address = f"https://{host}:{port}/"
        if says is None:
            answer = page.goto(address)
            assert answer is not None
            assert answer.status == 200
            return
        with pytest.raises(Error, match=says):
            page.goto(address)


def test_the_page_on_trust_is_the_only_one_without_tls_and_hands_out_the_authority(
    page: Page, server: tls.TlsServer
) -> None:
    there = f"http://{tls.ADDRESS}:{server.trust_port}"
    authority = x509.load_pem_x509_certificate(server.authority.read_bytes())
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{there}/desk")
    assert page.url == f"{there}/"
    text = page.inner_text("body")
    assert fingerprint(authority) in text
    lines = page.evaluate(LINES, ".fingerprint")
    assert len(lines) > 1
    assert all(line.count(":") % 4 == 0 for line in lines[:-1]), "pairs that are compared stay together"
    for words in ("VPN & Device Management", "Certificate Trust Settings", "CA certificate", server.address):
        assert words in text
    assert page.evaluate("() => document.querySelector('.qr').naturalWidth") > 100
    with urllib.request.urlopen(f"{there}/authority.crt", timeout=10) as answer:  # noqa: S310 - our own
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
        assert answer.read() == authority.public_bytes(Encoding.DER)
    with pytest.raises((http.client.HTTPException, OSError)):
        urllib.request.urlopen(f"http://{tls.ADDRESS}:{server.port}/", timeout=10)


def test_a_renewed_certificate_is_shown_after_the_next_start_and_the_tablets_trust_it(
    page: Page, server: tls.TlsServer, demo: Demo
) -> None:
    before = (demo.folder / "certificate/server.pem").read_bytes()
    assert main(["certificate", "renew", "--data-folder", str(demo.folder)]) == 0
    assert (demo.folder / "certificate/server.pem").read_bytes() != before
    server.stop()
    server.start()
    assert page.goto(f"{server.address}/self-test") is not None
