"""Own words where no sentence fits: kept with the event, and never lost to a reload while they are typed."""

from __future__ import annotations

from collections.abc import Callable

from tests.kit.chromium import SIZES
from tests.kit.looking import faults, look
from tests.kit.tablet import Operator, Tablet


def typed_words(tablet: Tablet, name: str, text: str) -> None:
    """Type and let the draft be kept."""
    tablet.page.locator(f'[data-words="{name}"]').press_sequentially(text)
    tablet.page.wait_for_function(
        """async ([name, text]) => {
          const open = indexedDB.open('zerokeep');
          const database = await new Promise(done => { open.onsuccess = () => done(open.result); });
          const asked = database.transaction('drafts').objectStore('drafts').getAll();
          const rows = await new Promise(done => { asked.onsuccess = () => done(asked.result); });
          database.close();
          return rows.some(row => row.typed[name] === text);
        }""",
        arg=[name, text],
    )


def test_something_else_that_is_off_takes_own_words_and_a_reload_keeps_them(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="z.over")
    tablet.tap("off")
    tablet.tap("worry", "other")
    typed_words(tablet, "worry", "Coolant on the floor")
    assert look(tablet.page, "own words", SIZES) + faults(tablet.page, "own words") == []
    tablet.reload()
    tablet.tap("off")
    tablet.tap("worry", "other")
    assert tablet.page.locator('[data-words="worry"]').input_value() == "Coolant on the floor"
    tablet.tap("about", "machine")
    tablet.tap("note")
    assert "Something else: “Coolant on the floor”" in tablet.text()
    assert [one["data"] for one in tablet.events_of("worry.raised")] == [
        {"worry": "other", "text": "Coolant on the floor", "about": "machine"}
    ]
    tablet.tap("worry-more")
    tablet.tap("worry", "other")
    assert tablet.page.locator('[data-words="worry"]').input_value() == "", (
        "what was noted is not noted twice"
    )


def test_a_worry_can_be_noted_without_words(odile: Operator) -> None:
    tablet = odile.tablet
    tablet.tap("off")
    tablet.tap("worry", "other")
    tablet.tap("note")
    assert [one["data"] for one in tablet.events_of("worry.raised")] == [
        {"worry": "other", "text": "", "about": None}
    ]


def test_another_reason_to_break_off_takes_own_words_and_a_reload_keeps_them(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="z.over")
    tablet.tap("break-off")
    odile.walk(until="sign.review")
    tablet.tap("break-reason", "other")
    typed_words(tablet, "words", "Fire drill")
    assert look(tablet.page, "why", SIZES) + faults(tablet.page, "why") == []
    tablet.reload()
    assert tablet.page.locator('[data-words="words"]').input_value() == "Fire drill"
    tablet.tap("break-words")
    assert [one["data"] for one in tablet.events_of("break.explained")] == [
        {"reason": "other", "text": "Fire drill"}
    ]


def test_a_question_in_own_words_is_there_again_after_a_reload(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="z.over")
    tablet.tap("off")
    tablet.tap("put-question")
    typed_words(tablet, "question", "Is the jaw bent?")
    tablet.reload()
    tablet.tap("off")
    tablet.tap("put-question")
    assert tablet.page.locator('[data-words="question"]').input_value() == "Is the jaw bent?"
    tablet.tap("put-question")
    assert [one["data"]["text"] for one in tablet.events_of("question.put")] == ["Is the jaw bent?"]


def test_a_person_whose_slot_has_ended_is_marked_in_words_and_told_what_to_do(
    new_tablet: Callable[..., Tablet],
) -> None:
    tablet = new_tablet()
    tablet.tap("machine", next(row["hash"] for row in tablet.rows("sheets") if row["machine"] == "plover"))
    bram = tablet.find("person", "bram")
    assert "× G58: time with it has ended" in bram.inner_text()
    assert bram.evaluate("row => getComputedStyle(row).borderTopStyle") == "dashed"
    assert "ended" not in tablet.find("person", "odile").inner_text()
    tablet.tap("person", "bram")
    assert "Your assignment of G58 has ended. Ask the lead." in tablet.text()
    assert not tablet.offers("begin")
