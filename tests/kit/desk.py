"""The desk as a lead uses it: signing in, making a code, deciding. Every page works without JavaScript."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

from webapp.demo.history import Secrets


class Desk:
    """One desk's browser page."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address

    def sign_in(self, person: str, secrets: Secrets) -> None:
        """Sign in by passphrase; the page that comes is the person's first."""
        self.page.goto(f"{self.address}/sign-in")
        self.page.fill('[name="person"]', person)
        self.page.fill('[name="passphrase"]', secrets.passphrase)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(lambda address: "/sign-in" not in address)

    def open(self, path: str) -> str:
        """Open a page; its text."""
        answer = self.page.goto(f"{self.address}{path}")
        assert answer is not None
        assert answer.status == 200, f"{path}: {answer.status}"
        return self.page.locator("main").inner_text()

    def make_code(self) -> str:
        """Make a one-time code for one tablet, as the page shows it."""
        self.open("/desk/tablets")
        self.page.get_by_role("button", name="Make a code").click()
        return self.page.locator(".code").inner_text().replace(" ", "")

    def answer(self, who: str, decision: str, reason: str) -> None:
        """Answer the question of a person that was put last."""
        self.open("/desk")
        self.page.get_by_role("link", name=f"the question of {who}").last.click()
        self.page.check(f'[name="decision"][value="{decision}"]')
        self.page.fill('[name="reason"]', reason)
        self.page.get_by_role("button", name="Send the answer").click()
        self.page.wait_for_url("**/desk?done=answered")

    def sign_off(self, setup: str, secrets: Secrets) -> None:
        """Review and sign off."""
        self.open(f"/desk/setups/{setup}/sign-off")
        self.page.fill("#passphrase", secrets.passphrase)
        self.page.get_by_role("button", name="Sign off").click()
        self.page.wait_for_url("**done=sealed")

    def touches(self) -> dict[str, dict[str, str]]:
        """The last row of each axis in the table of touches: cells by their heading."""
        table = self.page.locator("table", has=self.page.locator("caption", has_text="Touches"))
        table.wait_for()
        rows = {}
        for row in table.locator("tbody tr").all():
            cells = {
                str(cell.get_attribute("data-label")): cell.inner_text()
                for cell in row.locator("th, td").all()
            }
            rows[cells["axis"][0]] = cells
        return rows

    def download(self, link: str, folder: Path) -> bytes:
        """What a link hands out."""
        with self.page.expect_download() as waiting:
            self.page.get_by_role("link", name=link).click()
        path = folder / "downloaded.pdf"
        waiting.value.save_as(path)
        return path.read_bytes()
