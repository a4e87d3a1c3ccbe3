"""What `python -m tests.long engines` says before it starts; the walk itself has a slice in Firefox
(tests/browser/test_in_firefox.py).
"""

from __future__ import annotations

import pytest

from tests.long import engines


def test_packages_that_are_missing_are_named_with_the_line_that_brings_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(engines.LACKING, "webkit", lambda: ("xvfb", "python3-gi"))
    monkeypatch.setitem(engines.LACKING, "firefox", lambda: ("firefox-esr",))
    assert engines.run(["webkit"]) == 2
    said = capsys.readouterr().err
    assert "apt-get install --yes --no-install-recommends python3-gi xvfb\n" in said
    assert "firefox-esr" not in said


def test_each_engine_is_a_column_and_what_one_was_not_asked_stays_empty() -> None:
    told = engines.table([{"browser": "One 1", "a": "there"}, {"browser": "Two 2", "b": "not there"}])
    assert told.splitlines() == [
        "| browser | One 1 | Two 2 |",
        "| --- | --- | --- |",
        "| a | there |  |",
        "| b |  | not there |",
    ]
