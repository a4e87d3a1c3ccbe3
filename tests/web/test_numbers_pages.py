"""Budgets, probes and past values at the desk: typed, refused in words with nothing lost, kept, shown."""

from __future__ import annotations

import io
import re

from tests.web.conftest import Browser, Site, read

LINE = {
    "axis": "", "name": "Chips", "value": "0.003", "distribution": "rectangular", "degrees": "",
    "source": "Seen", "reason": "Never counted.",
}  # fmt: skip
CHECK = {
    "machine": "mill-1", "artefact": "ring", "diameter": "50", "diameter_uncertainty": "", "way": "diametral",
    "x_low": "-403.004", "x_high": "-358.996", "y_low": "-174.004", "y_high": "-129.996", "places": "",
    "note": "",
}  # fmt: skip
TABLE = (
    "at_utc;machine;fixture;seating;x_mm\n"
    "2026-11-10;mill-1;vise-a;vise-a-1;-381,251\n"
    "2026-11-11;mill-1;vise-a;nowhere;-381,2\n"
)
BUDGET = "/desk/machines/mill-1/budget"


def test_a_refused_line_keeps_all_that_was_typed(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = lead.send(f"{BUDGET}/lines/new", **{**LINE, "value": "-0.003"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "“-0.003” cannot be taken here" in page
    assert 'value="-0.003"' in page
    assert "Never counted." in page


def test_a_line_is_kept_shown_with_its_share_and_taken_back(site: Site) -> None:
    lead = site.signed_in("ines")
    assert lead.send(f"{BUDGET}/lines/new", **LINE).status_code == 303
    page = lead.page(BUDGET)
    assert "Chips" in page
    assert '<rect class="part"' in page
    href = page.split("Chips")[1].split('href="')[1].split('"')[0]
    assert "Take it back" in lead.page(href)
    assert lead.send(f"{href}/take-back", axis="", reason="Cleaned.").status_code == 303
    assert "Chips" not in lead.page(BUDGET)


def test_a_confidence_of_one_is_refused_and_stays_in_the_field(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = lead.send(f"{BUDGET}/confidence", confidence="1", reason="Sure.")
    assert answer.status_code == 422
    assert "A confidence of 1 cannot be used" in answer.get_data(as_text=True)
    assert lead.send(f"{BUDGET}/confidence", confidence="99 %", reason="Sure.").status_code == 303
    assert "with 99 % confidence" in lead.page(BUDGET)


def test_the_auditor_reads_the_budget_and_is_offered_no_change(site: Site) -> None:
    page = site.signed_in("odo").page(BUDGET)
    assert "coverage factor k" in page
    assert "Add a line" not in page


def worked_out(lead: Browser, check: dict[str, str]) -> dict[str, str]:
    """The form of a check once it was worked out and shown, ready to be kept."""
    tried = read(lead.send("/desk/probes/probe-1/check", **check))
    assert "Nothing is kept yet" in tried
    found = re.search(r'name="seen" value="([0-9a-f]{64})"', tried)
    assert found
    return {**check, "seen": found[1], "keep": "yes"}


def test_a_check_is_worked_out_first_and_kept_after(site: Site) -> None:
    lead = site.signed_in("ines")
    shown = worked_out(lead, CHECK)
    assert "never been checked" in lead.page("/desk/probes/probe-1")
    assert lead.send("/desk/probes/probe-1/check", **shown).status_code == 303
    assert "2.9960" in lead.page("/desk/probes/probe-1")


def test_a_check_that_was_not_shown_as_it_is_typed_now_is_shown_first(site: Site) -> None:
    """A number is corrected and Enter pressed: a browser then presses the first button, "Keep this check"."""
    lead = site.signed_in("ines")
    shown = worked_out(lead, CHECK)
    for other in ({**shown, "x_high": "-358.986"}, {**CHECK, "keep": "yes"}):
        answer = lead.send("/desk/probes/probe-1/check", **other)
        assert answer.status_code == 422
        assert "Look again, then keep it." in read(answer)
        assert "What it comes to" in read(answer)
    assert "never been checked" in lead.page("/desk/probes/probe-1")


def test_a_check_on_one_side_is_refused_and_keeps_the_places(site: Site) -> None:
    places = "-359 -152\n-360 -145\n-360 -159\n-361 -142"
    answer = site.signed_in("ines").send(
        "/desk/probes/probe-1/check", **{**CHECK, "way": "places", "places": places}
    )
    assert answer.status_code == 422
    assert "one side only" in answer.get_data(as_text=True)
    assert "-360 -145" in answer.get_data(as_text=True)


PAIR = {
    "one": "probe",
    "other": "seat",
    "pair_axis": "",
    "coefficient": "0,5",
    "pair_reason": "One certificate.",
}


def test_a_monte_carlo_run_with_its_seed_stands_beside_every_axis(site: Site) -> None:
    lead = site.signed_in("ines")
    page = lead.page(BUDGET)
    assert page.count("Monte Carlo run beside it") == page.count("effective degrees of freedom") >= 3
    assert page.count("95 % coverage interval") == 3
    said = sum(page.count(word) for word in ("They agree.", "They differ</span>", "Too close to tell"))
    assert said == 3
    assert 'name="seed" value="1"' in page
    other = lead.page(f"{BUDGET}?seed=20261129")
    assert 'name="seed" value="20261129"' in other
    assert ", 20261129</dd>" in other
    assert 'name="seed" value="1"' in lead.page(f"{BUDGET}?seed=-1")


def test_two_lines_hang_together_until_that_is_taken_back(site: Site) -> None:
    lead = site.signed_in("ines")
    wrong = lead.send(f"{BUDGET}/correlations", **{**PAIR, "coefficient": "1.5"})
    page = wrong.get_data(as_text=True)
    assert wrong.status_code == 422
    assert "“1.5” cannot be taken" in page
    assert 'value="1.5"' in page
    assert "One certificate." in page, "nothing that was typed is lost"
    assert lead.send(f"{BUDGET}/correlations", **PAIR).status_code == 303
    page = lead.page(BUDGET)
    assert "Probing, Seating of the fixture" in page
    assert "with what lines share" in page
    back = {"one": "probe", "other": "seat", "axis": ""}
    refused = lead.send(f"{BUDGET}/correlations/take-back", **back, reason="")
    assert refused.status_code == 422
    assert lead.send(f"{BUDGET}/correlations/take-back", **back, reason="Two of them.").status_code == 303
    assert "All lines stand by themselves." in lead.page(BUDGET)


def test_an_auditor_reads_the_run_and_changes_nothing(site: Site) -> None:
    auditor = site.signed_in("odo")
    page = auditor.page(BUDGET)
    assert "Monte Carlo run beside it" in page
    assert "They hang together" not in page
    assert auditor.send(f"{BUDGET}/correlations", **PAIR).status_code == 403


def test_a_check_says_first_how_well_the_radius_is_known_and_what_four_places_cannot_show(site: Site) -> None:
    lead = site.signed_in("ines")
    page = lead.send("/desk/probes/probe-1/check", **CHECK, keep="").get_data(as_text=True)
    assert "with 95 % confidence, 1 degrees of freedom" in page
    assert "Four places cannot show lobes" in page
    beside = {**CHECK, "y_low": "-173.970", "y_high": "-130.030"}
    page = lead.send("/desk/probes/probe-1/check", **beside, keep="").get_data(as_text=True)
    assert "Y comes out shorter than chance explains. Its touches may have run 1.2" in page
    noted = {**beside, "y_at_x": "-379.777"}
    page = lead.send("/desk/probes/probe-1/check", **noted, keep="").get_data(as_text=True)
    assert "The touches on Y ran 1.2230 mm beside the middle. That is worked in." in page
    assert lead.send("/desk/probes/probe-1/check", **worked_out(lead, noted)).status_code == 303
    assert "That is worked in." in lead.page("/desk/probes/probe-1")


def test_care_that_is_no_number_is_refused_beside_its_field(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = lead.send("/desk/probes/probe-1/care", every_days="often", factor="2", reason="x")
    assert answer.status_code == 422
    assert "“often” is no such number" in answer.get_data(as_text=True)
    assert (
        lead.send("/desk/probes/probe-1/care", every_days="30", factor="1,5", reason="x").status_code == 303
    )
    assert "overdue, never checked" in lead.page("/desk/probes")


def test_a_table_is_looked_at_then_taken_in_then_handed_out(site: Site) -> None:
    lead = site.signed_in("ines")
    fields = {"csrf_token": lead.token(), "table": (io.BytesIO(TABLE.encode("utf-8-sig")), "log.csv")}
    page = read(lead.send_raw("/desk/past/import", fields))
    assert "1 setup can be taken in" in page
    assert "has no seating “nowhere”" in page
    action = page.split('action="/desk/past/import/')[1].split('"')[0]
    assert lead.send(f"/desk/past/import/{action}", name="log.csv").status_code == 303
    assert "log.csv" in lead.page("/desk/past")
    text = lead.get("/desk/past.csv").get_data(as_text=True)
    assert "-381.251" in text
    setup = text.splitlines()[1].split(",")[5]
    assert lead.get(f"/desk/setups/{setup}").headers["Location"].endswith(f"/desk/past/setups/{setup}")
    assert "nobody signed it" in lead.page(f"/desk/past/setups/{setup}")
    assert lead.send(f"/desk/past/import/{action}", name="log.csv").status_code == 422


def test_a_line_that_is_asked_about_is_taken_only_with_its_tick(site: Site) -> None:
    lead = site.signed_in("ines")
    lines = "".join(f"2026-11-1{n};mill-1;vise-a;vise-a-1;-381,25{n}\n" for n in range(5))
    far = (
        "2026-11-16;mill-1;vise-a;vise-a-1;-371,250\n"
        "9999-12-31T23:59:59-12:00;mill-1;vise-a;vise-a-1;-381,25\n"
    )
    table = "at_utc;machine;fixture;seating;x_mm\n" + lines + far
    fields = {"csrf_token": lead.token(), "table": (io.BytesIO(table.encode()), "log.csv")}
    answer = lead.send_raw("/desk/past/import", fields)
    page = read(answer)
    assert answer.status_code == 200
    assert "5 setups can be taken in, 1 more only if you say so" in page
    assert "lies 9.998 mm away" in page or "lies 10.00" in page
    assert 'name="all_the_same" value="7"' in page
    assert "is no time that can be taken" in page
    action = page.split('action="/desk/past/import/')[1].split('"')[0]
    assert lead.send(f"/desk/past/import/{action}", name="log.csv").status_code == 303
    fields = {"csrf_token": lead.token(), "table": (io.BytesIO(table.encode()), "log.csv")}
    page = read(lead.send_raw("/desk/past/import", fields))
    assert "0 setups can be taken in, 1 more only if you say so" in page
    none_ticked = lead.send(f"/desk/past/import/{action}", name="log.csv")
    assert none_ticked.status_code == 422
    assert 'value="7"' in none_ticked.get_data(as_text=True), "the lines stay there to be ticked"
    assert lead.send(f"/desk/past/import/{action}", name="log.csv", all_the_same="7").status_code == 303
    assert "-371.25" in lead.get("/desk/past.csv").get_data(as_text=True)


def test_no_file_is_refused_in_words(site: Site) -> None:
    assert "No file is chosen" in site.signed_in("ines").send("/desk/past/import").get_data(as_text=True)
