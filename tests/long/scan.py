"""`python -m tests.long scan [stranger] [lead]`: a general scanner for web applications at a running demo.

The scanner (its pins: tests/long/scanning/requirements.txt) is set up in an environment of its own, beside
the tests' one, and asks a copy of the demo over TLS: as somebody who is not signed in, and as a lead. Modules
that would call a server elsewhere or look for other people's programs are left out, and the one for LDAP,
which nothing here speaks. Each finding is argued here, by words or by a look of our own, or it is one; and
afterwards the server has to have answered all of it without a fault of its own, the lead has to be signed in
still, and an audit has to find nothing. What came out is kept in tests/long/scan.md.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import ssl
import subprocess
import sys
import tempfile
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.kit import tls
from tests.kit.cheap_secrets import hash_cheaply
from tests.kit.demo import Demo, make_demo, now
from tests.kit.nest import ROOT
from webapp.services.audit.auditing import audit
from webapp.services.people import access
from webapp.web.edge.sessions import COOKIE

PINS = Path(__file__).with_name("scanning") / "requirements.txt"
FOLDER = ROOT / ".venv" / "scanner"
MODULES = (
    "backup", "cookieflags", "crlf", "csp", "csrf", "exec", "file", "htaccess", "http_headers", "methods",
    "permanentxss", "redirect", "sql", "timesql", "upload", "xss",
)  # fmt: skip
LEAD, TOKEN = "mara", "scanned-" + "s" * 40
SECONDS_A_MODULE, SECONDS_TO_CRAWL = 60, 180
SETUPS_A_MILL, MOST_TRIES = 4, 10
NOWHERE = "http://127.0.0.1:9/"  # where the scanner's own helper would be; nothing listens there
# Findings that are none, by their kind and their words: why.
ARGUED = {
    ("Clickjacking Protection", "X-Frame-Options is not set"): (
        "`frame-ancestors 'none'` says the same, and browsers go by it instead (CSP level 3, 6.4.2.2)"
    ),
    ("HTTP Strict Transport Security (HSTS)", "Strict-Transport-Security is not set"): (
        "asked by a bare address, where it has no effect (RFC 6797, 8.1.1); set under the server's name "
        "(tests/web/test_guards.py)"
    ),
    (
        "HTTP Methods",
        r".*OPTIONS \(405\)( POST \(400\))?",
    ): "refused: the method, and a form without its token",
}
CSRF = "Cross Site Request Forgery"


@dataclass(frozen=True)
class Finding:
    """One thing that the scanner says: `kind` and `words` are its own."""

    kind: str
    method: str
    path: str
    parameter: str
    words: str


@dataclass(frozen=True)
class Asking:
    """How the running demo is asked: where, trusting what, with which cookies."""

    address: str
    trusting: ssl.SSLContext
    cookies: str

    def post(self, path: str, fields: dict[str, str]) -> int:
        """Send a form as our own pages do; the status of the answer."""
        data = urllib.parse.urlencode(fields).encode()
        return self._sent(path, data, {"Sec-Fetch-Site": "same-origin"})[0]

    def is_let_in(self, path: str) -> bool:
        """Whether a page is shown, and no other one instead of it."""
        return self._sent(path, None, {}) == (200, f"{self.address}{path}")

    def _sent(self, path: str, data: bytes | None, headers: dict[str, str]) -> tuple[int, str]:
        address = f"{self.address}{path}"
        request = urllib.request.Request(address, data, {"Cookie": self.cookies, **headers})  # noqa: S310 - our own
        try:
            with urllib.request.urlopen(request, context=self.trusting) as answer:  # noqa: S310 - the same
                return int(answer.status), str(answer.url)
        except urllib.error.HTTPError as refusal:
            return refusal.code, address


def scanner() -> Path:
    """The scanner's program, set up where its pins are not there yet."""
    stamp, wanted = FOLDER / "ready", hashlib.sha256(PINS.read_bytes()).hexdigest()
    if not stamp.exists() or stamp.read_text() != wanted:
        print("setting up the scanner, once", flush=True)
        subprocess.run([sys.executable, "-m", "venv", "--clear", FOLDER], check=True)
        install = ("-m", "pip", "install", "--quiet", "--require-hashes", "--requirement", str(PINS))
        subprocess.run([FOLDER / "bin" / "python", *install], check=True)
        stamp.write_text(wanted)
    return FOLDER / "bin" / "wapiti"


def asking(server: tls.TlsServer, demo: Demo, *, as_lead: bool) -> Asking:
    """Open a page for the cookie that forms go with; sign in where it is asked for."""
    trusting = ssl.create_default_context(cafile=server.authority)
    page = f"{server.by_address}/sign-in"
    with urllib.request.urlopen(page, context=trusting) as answer:  # noqa: S310 - our own
        cookies = answer.headers["Set-Cookie"].split(";")[0]
    if as_lead:
        with demo.opened() as (store, _):
            access.sign_in(store, LEAD, demo.people[LEAD].passphrase, now(), TOKEN, tls.ADDRESS)
        cookies = f"{cookies}; {COOKIE}={TOKEN}"
    return Asking(server.by_address, trusting, cookies)


def scan(asked: Asking, folder: Path, seconds: int) -> tuple[int, list[Finding]]:
    """Let the scanner at it; how many pages and forms it found, and what it says."""
    told = folder / "told.json"
    command = [
        scanner(), "--url", f"{asked.address}/", "--scope", "domain", "--module", ",".join(MODULES),
        "--exclude", f"{asked.address}/sign-out", "--cookie-value", asked.cookies,
        "--header", "Sec-Fetch-Site: same-origin", "--endpoint", NOWHERE, "--no-bugreport",
        "--max-scan-time", str(SECONDS_TO_CRAWL), "--max-attack-time", str(seconds), "--timeout", "30",
        "--store-session", folder / "session", "--store-config", folder / "configuration",
        "--format", "json", "--output", told, "--verbose", "0",
    ]  # fmt: skip
    _to_its_end(command, folder / "scanner.log")
    report = json.loads(told.read_text(encoding="utf-8"))
    return report["infos"]["crawled_pages_nbr"], list(_findings(report))


def _to_its_end(command: list[str | Path], log: Path) -> None:
    """Run the scanner. Where a module's time is over it locks itself out of its own notes now and then: then
    it goes on with what it found, where it was. Raises RuntimeError with its last words when it never ends.
    """
    with log.open("ab") as words:
        for more in ([], *[["--skip-crawl"]] * MOST_TRIES):
            if subprocess.run([*command, *more], check=False, stdout=words, stderr=words).returncode == 0:
                return
    raise RuntimeError(f"the scanner did not end:\n{log.read_text(errors='replace')[-2000:]}")


def _findings(report: dict[str, dict[str, list[dict[str, str]]]]) -> Iterator[Finding]:
    for part in ("vulnerabilities", "anomalies", "additionals"):
        for kind, found in report[part].items():
            for one in found:
                yield Finding(kind, one["method"], one["path"], one.get("parameter") or "", one["info"])


def argument(finding: Finding, asked: Asking) -> str | None:
    """Why a finding is none, or None where it is one."""
    if finding.kind == CSRF and finding.words.endswith("is not properly checked in backend"):
        status = asked.post(finding.path, {"csrf_token": "of another page"})
        return "asked again with a wrong token: refused with 400" if status == 400 else None
    for (kind, words), why in ARGUED.items():
        if finding.kind == kind and re.fullmatch(words, finding.words):
            return why
    return None


def faults_of_the_server(server: tls.TlsServer, demo: Demo) -> list[str]:
    """What the server's own log and an audit say after all that."""
    log = server.log.read_text(encoding="utf-8", errors="replace")
    found = [
        f"the server's log: {line}" for line in log.splitlines() if re.search(r"Traceback|\bERROR\b", line)
    ]
    with demo.opened() as (store, _):
        return found + [f"an audit: {fault}" for fault in audit(store)]


def scanned(made: Path, folder: Path, who: str, seconds: int) -> list[str]:
    """Scan one copy as somebody, say what came out, and return what is a fault."""
    demo = Demo.copy(made, folder / "shop")
    server = tls.TlsServer(demo.folder)
    server.start()
    try:
        asked = asking(server, demo, as_lead=who == "lead")
        pages, findings = scan(asked, folder, seconds)
        said = Counter((one.kind, one.words.split(" on https")[0], argument(one, asked)) for one in findings)
        print(f"\nAs {who}: {pages} pages and forms found, {len(findings)} findings.\n", flush=True)
        print("| kind | what it says | how often | argued |\n| --- | --- | --- | --- |")
        for (kind, words, why), count in said.items():
            print(f"| {kind} | {words} | {count} | {why or 'NOT ARGUED'} |", flush=True)
        faults = [f"{one}" for one in findings if argument(one, asked) is None]
        if who == "lead" and not asked.is_let_in("/desk"):
            faults.append("the lead is not signed in any more: what came after was asked by a stranger")
        return faults + faults_of_the_server(server, demo)
    finally:
        server.kill()


def run(words: list[str]) -> int:
    """Scan as each that is named, or both; 1 where anything is found that is not argued."""
    parser = argparse.ArgumentParser("python -m tests.long scan")
    parser.add_argument("--seconds", type=int, default=SECONDS_A_MODULE, help="the most for each module")
    parser.add_argument("who", nargs="*", metavar="stranger|lead", choices=[[], "stranger", "lead"])
    asked = parser.parse_args(words)
    hash_cheaply()
    faults: list[str] = []
    with tempfile.TemporaryDirectory(prefix="zk-scan-") as folder:
        (made := Path(folder) / "made").mkdir()
        make_demo(made, SETUPS_A_MILL)
        for who in asked.who or ["stranger", "lead"]:
            (own := Path(folder) / who).mkdir()
            faults += scanned(made, own, who, asked.seconds)
    print("\n".join(faults) or "nothing is left that is not argued", flush=True)
    return int(bool(faults))
