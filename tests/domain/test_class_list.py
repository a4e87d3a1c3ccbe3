"""A typed list of people: short names made and typed, and all faults at once.

RFC 4180 (from memory): fields parted by commas, one that holds a comma stands in quotation marks.
"""

from __future__ import annotations

import pytest

from webapp.domain.shop.class_list import MOST, read_class_list

KNOWN = {"mara": "Mára Holm", "ines": "Ines Falk"}


def told(text: str) -> list[str]:
    return [fault.code.removeprefix("class_list.") for fault in read_class_list(text, KNOWN).faults]


def people(text: str) -> list[tuple[str, str]]:
    found = read_class_list(text, KNOWN)
    assert not found.faults
    return [(one.name, one.id) for one in found.people]


def test_short_names_are_made_of_the_first_word_and_numbered_where_they_are_taken() -> None:
    text = (
        "Name, short name\n\nJürgen Groß\nMara Lind\n  Mara   Okafor \nØystein Ås, oystein\n"
        "Jurgen Klein, jurgen\n"
    )
    assert people(text) == [
        ("Jürgen Groß", "jurgen2"),
        ("Mara Lind", "mara2"),
        ("Mara Okafor", "mara3"),
        ("Øystein Ås", "oystein"),
        ("Jurgen Klein", "jurgen"),
    ]


def test_nobody_is_called_as_the_ledger_calls_the_server() -> None:
    assert people("Server Aydın") == [("Server Aydın", "server2")]
    assert told("Server Aydın, server\nUlla Noren, unknown") == ["short_name_taken", "short_name_taken"]


@pytest.mark.parametrize("line", ['"Ruiz, Ana", ana', "Ruiz, Ana;ana", "Ruiz, Ana\tana"])
def test_a_name_may_hold_a_comma(line: str) -> None:
    assert people(line) == [("Ruiz, Ana", "ana")]


def test_five_faults_are_told_at_once_each_with_its_line() -> None:
    text = (
        "Nils Berg, Nils Berg\n山田 太郎\nINES FALK, other\nKim Ode, mara\nTom Ray, tom, G55\n"
        "Eva Lund\nevá lund, eva3\n"
    )
    found = read_class_list(text, KNOWN)
    assert [(one.code.removeprefix("class_list."), one.fields["line"]) for one in found.faults] == [
        ("short_name", 1),
        ("short_name_needed", 2),
        ("known", 3),
        ("short_name_taken", 4),
        ("too_many_parts", 5),
        ("known", 7),
    ]


def test_other_scripts_are_taken_with_a_short_name() -> None:
    assert people("山田 太郎, taro\nАнна, anna") == [("山田 太郎", "taro"), ("Анна", "anna")]


def test_latin_letters_that_have_no_accent_to_take_off_are_written_plainly() -> None:
    text = "Øystein Åsen\nÆgir Þórsson\nŁucja Wójcik\nĐorđe Ilić\nIşıl Kaya\nGroß Weiß, gw"
    assert [short for _, short in people(text)] == ["oystein", "aegir", "lucja", "dorde", "isil", "gw"]
    assert told("Søren Berg\nSOREN BERG, other") == ["known"]


def test_nothing_and_too_much_are_said() -> None:
    assert told(" \n\n") == ["empty"]
    assert told("name\n") == ["empty"]
    assert told("".join(f"Person Number{number}\n" for number in range(MOST + 1))) == ["too_long"]
    assert told("x" * 81) == ["name"]
    assert told("Anna\u202eB, anna") == ["name"]
