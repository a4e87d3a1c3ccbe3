"""The one thing that the renderer may ask for files: what came with the program, and `data:`.

Rules of this module:
- An address is either `data:` or one of the `bundled:` names in the map given at the start; everything else
  stops the rendering, also a redirect, since nothing that could redirect is ever asked (OWASP ASVS 5.0, 1.3.6
  and 13.2.4).
- The same fetcher goes to the page, to every style sheet and to every attachment.
"""

from __future__ import annotations

from collections.abc import Mapping

from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

BUNDLED = "bundled:"
SHOWN_CHARACTERS = 80


class NothingElseIsFetchedError(FatalURLFetchingError):  # type: ignore[misc]
    """The page asked for something that did not come with the program."""


class BundledFetcher(URLFetcher):  # type: ignore[misc]
    """Answers `bundled:<name>` from the given bytes, and `data:`; refuses everything else."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        super().__init__(allowed_protocols=("data",), allow_redirects=False, fail_on_errors=True)
        self._files = dict(files)

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        """Return the bytes behind the address. Raises `NothingElseIsFetchedError`."""
        if url.startswith(BUNDLED) and url.removeprefix(BUNDLED) in self._files:
            return URLFetcherResponse(url, self._files[url.removeprefix(BUNDLED)])
        if url.startswith("data:"):
            return super().fetch(url, headers)
        raise NothingElseIsFetchedError(f"refused: {url[:SHOWN_CHARACTERS]}")
