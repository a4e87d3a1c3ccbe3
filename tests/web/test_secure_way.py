"""The desk opens over TLS or on the server's own computer, and else says where to go; names and origins
likewise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import KEY_PASSPHRASE, Site, make_site, read
from webapp.cli import main
from webapp.proof.certificates import own_certificate
from webapp.proof.keys.key_ring import KeyRing

LAN = "http://mill.shop.lan:8420"


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]) -> Iterator[Site]:
    """A shop that is called by a name of its network, and has no certificate."""
    names = ("localhost", "127.0.0.1", "[::1]", "mill.shop.lan")
    site = make_site(tmp_path_factory.mktemp("lan"), keys, trusted_hosts=names, trusted_proxies=())
    yield site
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def at(site: Site, path: str, base: str = LAN, **form: Any) -> Any:
    client, headers = site.app.test_client(), {"Sec-Fetch-Site": "same-origin"}
    if form:
        return client.post(path, base_url=base, data=form, headers=headers)
    return client.get(path, base_url=base, headers=headers)


@pytest.mark.parametrize("path", ["/sign-in", "/desk", "/me", "/desk/tablets"])
def test_no_page_of_the_desk_opens_over_plain_http_from_another_computer(lan: Site, path: str) -> None:
    answer = at(lan, path)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 403
    assert "<form" not in text
    assert "zerokeep certificate make mill.shop.lan" in text
    assert at(lan, path, "http://localhost:8420").status_code in {200, 303}


def test_a_passphrase_that_was_sent_in_clear_opens_nothing(lan: Site) -> None:
    answer = at(lan, "/sign-in", person="ines", passphrase=PASSPHRASES["ines"], csrf_token="x")
    assert answer.status_code == 403
    assert "Set-Cookie" not in answer.headers


def test_the_board_and_the_test_of_a_device_open_everywhere(lan: Site) -> None:
    assert at(lan, "/").status_code == 200
    assert at(lan, "/self-test").status_code == 200


def test_a_name_that_is_not_trusted_is_told_which_one_is(lan: Site) -> None:
    answer = at(lan, "/", "http://other.shop.lan:8420")
    assert answer.status_code == 400
    assert "does not answer by the name" in answer.get_data(as_text=True)
    assert lan.app.extensions["zerokeep"].settings.address in answer.get_data(as_text=True)


@pytest.mark.parametrize(("origin", "status"), [("http", 403), ("https", 422)])
def test_a_page_that_came_without_tls_changes_nothing_on_a_server_by_tls(
    shared_site: Site, origin: str, status: int
) -> None:
    """By Origin alone, as an older browser sends it; 422: it got as far as the form, which is empty."""
    browser = shared_site.browser()
    fields = {"csrf_token": browser.token(), "person": "", "passphrase": ""}
    answer = browser.send_raw("/sign-in", fields, Origin=f"{origin}://localhost", Sec_Fetch_Site="")
    assert answer.status_code == status


def test_the_board_says_thirty_days_before_the_end_that_the_certificate_is_due(
    tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    assert main(["certificate", "make", "mill.shop.lan", "--data-folder", str(tmp_path / "own")]) == 0
    file = tmp_path / "own/certificate/server.pem"
    site = make_site(tmp_path, keys, tls_certificate=file, tls_key=file)
    end = x509.load_pem_x509_certificates(file.read_bytes())[0].not_valid_after_utc
    for days, is_said in ((31, False), (29, True)):
        site.house.clock.moment = end - timedelta(days=days)
        assert ("Tell the lead" in site.browser().page("/")) is is_said
    site.house.store.close()
    site.app.extensions["zerokeep"].close()


def test_the_page_of_tablets_says_where_a_new_one_learns_to_trust_and_what_to_compare(
    tmp_path: Path, keys: tuple[Path, KeyRing], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", KEY_PASSPHRASE)
    site = make_site(tmp_path, keys)
    assert "trusts this server first" not in site.signed_in("ines").page("/desk/tablets")
    assert (
        main(["certificate", "make", "setup.shop.lan", "192.168.40.7", "--data-folder", str(tmp_path)]) == 0
    )
    parts = site.app.extensions["zerokeep"]
    file = parts.settings.certificate_folder / "server.pem"
    hosts = (*parts.settings.trusted_hosts, "setup.shop.lan")
    served = replace(parts.settings, tls_certificate=file, tls_key=file, trust_port=8421, trusted_hosts=hosts)
    site.app.extensions["zerokeep"] = replace(parts, settings=served)
    text = site.signed_in("ines").page("/desk/tablets")
    authority = own_certificate.look(parts.settings.certificate_folder).authority
    assert own_certificate.fingerprint(authority) in text.replace("<wbr>", "")
    assert "trusts this server first" in text
    # The lead sits at the server itself: what a tablet and a person open is said by the server's name.
    lead = site.signed_in("ines")
    for path, sent, opened in (
        ("/desk/tablets/code", {}, "tablet"),
        ("/desk/people/ivo/secrets", {"secrets-passphrase": PASSPHRASES["ines"]}, "sign-in"),
    ):
        page = read(lead.send(path, **sent))
        assert f"<code>https://setup.shop.lan:{served.port}/{opened}</code>" in page
        assert "https://localhost" not in page
    site.house.store.close()
    parts.close()
