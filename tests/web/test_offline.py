"""What a tablet needs to work without the network is served whole, under one version."""

from __future__ import annotations

import io
import json
import re

from PIL import Image

from tests.web.conftest import Site


def written(worker: str, name: str) -> object:
    line = re.search(rf"^const {name} = (.*);$", worker, re.MULTILINE)
    assert line
    return json.loads(line[1])


def test_the_worker_is_served_from_the_root_with_version_and_files(shared_site: Site) -> None:
    answer = shared_site.browser().get("/sw.js")
    worker = answer.get_data(as_text=True)
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Service-Worker-Allowed"] == "/"
    assert written(worker, "VERSION") == shared_site.app.extensions["zerokeep"].shell.version
    assert "addEventListener('install'" in worker


def test_every_file_that_a_tablet_is_told_to_keep_is_there(shared_site: Site) -> None:
    browser = shared_site.browser()
    files = written(browser.text("/sw.js"), "FILES")
    assert isinstance(files, list)
    for address in files:
        answer = browser.get(address)
        assert answer.status_code == 200, address
        assert not answer.headers.get("Location")


def test_everything_that_the_tablets_page_names_is_kept(shared_site: Site) -> None:
    browser = shared_site.browser()
    files = written(browser.text("/sw.js"), "FILES")
    assert isinstance(files, list)
    page = browser.page("/tablet")
    named = set(re.findall(r'(?:href|src)="(/[^"]+)"', page))
    assert named
    assert named <= set(files)


def test_the_kept_script_asks_for_no_module_that_is_not_kept(shared_site: Site) -> None:
    browser = shared_site.browser()
    files = written(browser.text("/sw.js"), "FILES")
    assert isinstance(files, list)
    scripts = [address for address in files if address.endswith(".js")]
    assert len(scripts) == 1
    code = [line for line in browser.text(scripts[0]).splitlines() if not line.startswith(" *")]
    assert [line for line in code if re.search(r"^\s*(import|export)\b|\bimport\(", line)] == []


def test_the_manifest_names_icons_that_have_the_size_they_claim(shared_site: Site) -> None:
    browser = shared_site.browser()
    answer = browser.get("/manifest.webmanifest")
    assert answer.mimetype == "application/manifest+json"
    manifest = json.loads(answer.get_data(as_text=True))
    assert manifest["display"] == "standalone"
    assert manifest["start_url"] == manifest["id"] == "/tablet"
    assert {icon["sizes"] for icon in manifest["icons"]} >= {"192x192", "512x512"}
    assert "maskable" in {icon["purpose"] for icon in manifest["icons"]}
    for icon in manifest["icons"]:
        picture = Image.open(io.BytesIO(browser.get(icon["src"]).data))
        assert f"{picture.width}x{picture.height}" == icon["sizes"]


def test_fonts_are_served_under_the_hash_of_their_bytes_and_named_by_the_style(shared_site: Site) -> None:
    browser = shared_site.browser()
    shell = shared_site.app.extensions["zerokeep"].shell
    style = browser.page(shell.address("css/fonts.css"))
    for name in shell.fonts:
        assert f"/fonts/{name}" in style
        answer = browser.get(f"/fonts/{name}")
        assert answer.mimetype == "font/woff2"
        assert answer.data[:4] == b"wOF2"


def test_a_file_of_another_version_is_not_answered_with_ours(shared_site: Site) -> None:
    assert shared_site.browser().get("/assets/0123456789abcdef/js/main.js").status_code == 404


def test_the_files_that_a_tablet_keeps_stay_small(shared_site: Site) -> None:
    browser = shared_site.browser()
    files = written(browser.text("/sw.js"), "FILES")
    assert isinstance(files, list)
    assert sum(len(browser.get(address).data) for address in files) < 1_500_000
