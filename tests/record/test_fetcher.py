"""The renderer gets nothing but what came with the program, whichever way it asks."""

import contextlib
import http.server
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from weasyprint import CSS, HTML, Attachment
from weasyprint.urls import FatalURLFetchingError

from webapp.record.fetcher import BundledFetcher, NothingElseIsFetchedError

CANARY = "canary-4f1c"


@pytest.fixture
def canary(tmp_path: Path) -> Path:
    file = tmp_path / "canary.svg"
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg"><text y="9">{CANARY}</text></svg>')
    return file


@pytest.fixture
def asked() -> Iterator[tuple[str, list[str]]]:
    """A server that notes every request and sends everyone on to a file, and its address."""
    paths: list[str] = []

    class Server(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            paths.append(self.path)
            self.send_response(302)
            self.send_header("Location", "file:///etc/hostname")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Keep the test's output clean."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_address[1]}", paths
        server.shutdown()
        thread.join()


ASKING = {
    "image": '<img src="{address}">',
    "picture set": '<img srcset="{address}" src="{address}">',
    "style sheet": '<link rel="stylesheet" href="{address}">',
    "import": "<style>@import url({address});</style>",
    "background": '<p style="background: url({address})">x</p>',
    "list mark": '<ul style="list-style-image: url({address})"><li>x</ul>',
    "content": "<style>p::before {{ content: url({address}) }}</style><p>x</p>",
    "font": (
        "<style>@font-face {{ font-family: f; src: url({address}) }} p {{ font-family: f }}</style><p>x</p>"
    ),
    "attachment": '<link rel="attachment" href="{address}">',
    "attachment of a link": '<a rel="attachment" href="{address}">x</a>',
    "object": '<object data="{address}"></object>',
    "embed": '<embed src="{address}">',
    "image in a drawing": '<svg viewBox="0 0 9 9"><image href="{address}" width="9" height="9"/></svg>',
    "base": '<base href="{address}"><img src="x.png">',
}
SCHEMES = ["file://{canary}", "FILE://{canary}", "{server}/x", "ftp://127.0.0.1:1/x", "bundled:other.ttf",
           "{canary}", "gopher://127.0.0.1/x", "//127.0.0.1/x", "data-:x",
           "bundled:../../../etc/hostname"]  # fmt: skip


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("way", ASKING)
def test_no_way_of_asking_fetches_anything(
    way: str, scheme: str, canary: Path, asked: tuple[str, list[str]]
) -> None:
    server, requests = asked
    address = scheme.format(canary=canary, server=server)
    page = f"<html><body>{ASKING[way].format(address=address)}</body></html>"
    data = b""
    with contextlib.suppress(FatalURLFetchingError):
        data = HTML(string=page, url_fetcher=BundledFetcher({"a.ttf": b"a"}), base_url="bundled:").write_pdf(
            uncompressed_pdf=True
        )
    assert requests == []
    assert CANARY.encode() not in data
    assert b"/EmbeddedFile" not in data


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_style_sheet_or_an_attachment_gets_nothing_either(
    scheme: str, canary: Path, asked: tuple[str, list[str]]
) -> None:
    server, requests = asked
    address, fetcher = scheme.format(canary=canary, server=server), BundledFetcher({})
    with pytest.raises(FatalURLFetchingError):
        fetcher(address)
    if "://" in scheme:
        with pytest.raises(FatalURLFetchingError):
            CSS(string=f"@import url({address});", url_fetcher=fetcher, base_url="bundled:")
        with pytest.raises(FatalURLFetchingError), Attachment(url=address, url_fetcher=fetcher).source:
            pass
    assert requests == []


def test_what_came_with_the_program_is_given() -> None:
    assert BundledFetcher({"a.ttf": b"letters"}).fetch("bundled:a.ttf").read() == b"letters"


def test_data_addresses_are_given() -> None:
    assert BundledFetcher({}).fetch("data:text/plain;base64,aGVsbG8=").read() == b"hello"


def test_the_refusal_names_the_address_and_not_more_than_its_beginning() -> None:
    with pytest.raises(NothingElseIsFetchedError) as refused:
        BundledFetcher({}).fetch("https://example.org/" + "x" * 500)
    assert "https://example.org/" in str(refused.value)
    assert len(str(refused.value)) < 120
