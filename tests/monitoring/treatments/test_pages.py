"""The pages of treatments: who records, what bad input is told, what is marked."""

import json
import re
from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from tests.builders import add_block
from tests.monitoring.treatments.conftest import Trial, all_records

pytestmark = pytest.mark.django_db
TREATERS = ["coordinator", "grower", "consultant"]
CAUTION = "The label is the law."


def form(trial: Trial, **other: Any) -> dict[str, Any]:
    return {
        "treated_on": "2026-08-04",
        "treated": [str(trial.block.uuid)],
        "checks": [str(trial.check.uuid)],
        "category": "sulfur",
        "active_ingredient": "wettable sulfur",
        "rate": "4",
        "rate_unit": "kg/ha",
        "operator": "the spray team",
        "note": "",
    } | other


def post(trial: Trial, path: str, data: dict[str, Any], role: str = "grower") -> Any:
    client = trial.world.client(role)
    return client.post(trial.world.url(f"treatments/{path}"), data, follow=True)


@pytest.mark.parametrize("role", TREATERS)
def test_a_treatment_is_recorded_for_several_blocks(trial: Trial, role: str) -> None:
    both = {"treated": [str(trial.block.uuid), str(trial.check.uuid)], "checks": []}
    answer = post(trial, "record/", form(trial, **both), role)
    assert answer.status_code == 200
    [made] = all_records(trial.world)
    assert (made.treated_on, made.rate) == (date(2026, 8, 4), 4.0)
    assert made.recorded_by == trial.world.people[role]
    text = trial.page("")
    assert trial.block.name in text
    assert trial.check.name in text
    assert CAUTION in text


def test_laboratory_staff_read_and_do_not_record(trial: Trial) -> None:
    treatment = trial.record()
    lab = trial.world.client("lab")
    for path in ("", f"{treatment.uuid}/"):
        text = trial.page(path, "lab")
        assert "wettable sulfur" in text
        assert "Record a treatment" not in text
        assert "Correct or withdraw" not in text
    for path in ("record/", f"{treatment.uuid}/correct/"):
        assert lab.get(trial.world.url(f"treatments/{path}")).status_code == 403
        assert post(trial, path, form(trial), "lab").status_code == 403
    withdrawn = post(trial, f"{treatment.uuid}/withdraw/", {"reason": "x"}, "lab")
    assert withdrawn.status_code == 403
    assert len(all_records(trial.world)) == 1


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"treated_on": "soon"}, "Write the date as 2026-08-14."),
        ({"treated_on": "0204-08-04"}, "is too long ago"),
        ({"treated_on": "2999-01-01"}, "is still to come"),
        ({"treated_on": ""}, "This field is required."),
        ({"treated": []}, "Name the blocks that were treated."),
        ({"treated": ["nonsense"]}, "is not a valid UUID"),
        (
            {"treated": ["00000000-0000-4000-8000-000000000000"]},
            "That is no block of this farm.",
        ),
        ({"category": "magic"}, "Choose a kind from the list."),
        ({"active_ingredient": " "}, "This field is required."),
        ({"active_ingredient": "x" * 200}, "at most 120 characters"),
        ({"active_ingredient": "a\x00b"}, "Null characters are not allowed."),
        ({"rate": "much"}, "Write a number, such as 2.5"),
        ({"rate": "nan"}, "Write a number, such as 2.5"),
        ({"rate": "-4"}, "A rate is above 0."),
        ({"rate": "1e300"}, "That rate cannot be."),
        ({"rate": ""}, "give both, or neither"),
        ({"rate_unit": ""}, "give both, or neither"),
        ({"rate_unit": "buckets"}, "Choose a unit from the list."),
        ({"rate": "150", "rate_unit": "percent"}, "percent of a spray cannot be"),
        ({"note": "x" * 3000}, "at most 2000 characters"),
    ],
)
def test_bad_input_is_told_and_loses_nothing(
    trial: Trial, other: dict[str, Any], words: str
) -> None:
    answer = post(trial, "record/", form(trial, operator="Kept Name", **other))
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text
    assert "Kept Name" in text
    assert all_records(trial.world) == []


def test_a_block_both_treated_and_check_is_told(trial: Trial) -> None:
    same = form(trial, checks=[str(trial.block.uuid)])
    answer = post(trial, "record/", same)
    assert answer.status_code == 422
    assert "treated and left untreated at once" in answer.content.decode()


def test_sent_twice_it_is_recorded_once(trial: Trial) -> None:
    post(trial, "record/", form(trial))
    again = post(trial, "record/", form(trial))
    assert again.status_code == 409
    assert "recorded already" in again.content.decode()
    assert len(all_records(trial.world)) == 1


def test_the_form_knows_the_block_one_comes_from(trial: Trial) -> None:
    text = trial.page("record/", "grower", block=str(trial.check.uuid))
    box = re.search(rf'<input[^>]*value="{trial.check.uuid}"[^>]*>', text)
    assert box is not None
    assert "checked" in box[0]
    assert timezone.localdate().isoformat() in text


@pytest.mark.parametrize("asked", ["nonsense", "00000000-0000-4000-8000-000000000000"])
@pytest.mark.parametrize("name", ["block", "farm"])
def test_odd_addresses_show_the_usual(trial: Trial, name: str, asked: str) -> None:
    trial.record()
    assert trial.block.name in trial.page("record/", "grower", **{name: asked})
    assert trial.block.name in trial.page("", **{name: asked, "page": "99x"})


def test_a_farm_is_chosen(trial: Trial) -> None:
    trial.record()
    farms = trial.world.farms
    near = trial.page("", farm=str(farms[0].uuid))
    far = trial.page("", farm=str(farms[1].uuid))
    assert "wettable sulfur" in near
    assert "wettable sulfur" not in far
    assert f"No treatment is recorded for {farms[1].name}." in far
    boxes = trial.page("record/", "consultant", farm=str(farms[1].uuid))
    assert trial.world.blocks[1].name in boxes
    assert trial.check.name not in boxes


def test_a_correction_shows_both_records_with_who_and_why(trial: Trial) -> None:
    first = trial.record(rate=40.0)
    given = form(trial, checks=[], reason="the decimal point was left out")
    answer = post(trial, f"{first.uuid}/correct/", given)
    assert answer.status_code == 200
    text = " ".join(answer.content.decode().split())
    assert "40 kg per ha" in text
    assert "4 kg per ha" in text
    assert "the decimal point was left out" in text
    assert trial.world.people["grower"].name in text
    old = trial.page(f"{first.uuid}/")
    newest = all_records(trial.world)[-1]
    assert "This record was corrected." in old
    assert f"treatments/{newest.uuid}/" in old
    assert "Correct or withdraw" not in trial.page(f"{first.uuid}/", "grower")


def test_a_correction_needs_a_reason(trial: Trial) -> None:
    first = trial.record()
    answer = post(trial, f"{first.uuid}/correct/", form(trial, rate="5"))
    assert answer.status_code == 422
    withdrawn = post(trial, f"{first.uuid}/withdraw/", {"reason": " "})
    assert withdrawn.status_code == 422
    assert len(all_records(trial.world)) == 1


def test_the_correction_form_is_filled_in(trial: Trial) -> None:
    first = trial.record(checks=[trial.check])
    text = trial.page(f"{first.uuid}/correct/", "grower")
    assert 'value="2026-08-04"' in text
    assert 'value="4.0"' in text
    assert text.count("checked") == 2


def test_the_second_of_two_corrections_is_told(trial: Trial) -> None:
    first = trial.record()
    given = form(trial, rate="5", reason="mistyped")
    assert post(trial, f"{first.uuid}/correct/", given).status_code == 200
    second = post(trial, f"{first.uuid}/correct/", given | {"rate": "6"})
    assert second.status_code == 409
    assert "Somebody corrected this treatment first" in second.content.decode()


def test_a_withdrawn_treatment_says_so(trial: Trial) -> None:
    first = trial.record()
    answer = post(trial, f"{first.uuid}/withdraw/", {"reason": "put off by rain"})
    text = answer.content.decode()
    assert "Withdrawn: this treatment was recorded, but never done." in text
    assert "put off by rain" in text
    assert "wettable sulfur" not in trial.page("")


def test_a_grower_sees_the_treatments_of_granted_farms(trial: Trial) -> None:
    far = trial.world.blocks[1]
    hidden = trial.record(treated=[far], active_ingredient="paraffin oil")
    shared = trial.record(treated=[trial.block, far])
    text = trial.page("", "grower")
    assert "paraffin oil" not in text
    assert trial.block.name in text
    assert far.name not in trial.page(f"{shared.uuid}/", "grower")
    grower = trial.world.client("grower")
    for path in (f"{hidden.uuid}/", f"{shared.uuid}/blocks/{far.uuid}/"):
        assert grower.get(trial.world.url(f"treatments/{path}")).status_code == 404


def test_the_block_shows_and_marks_its_treatments(trial: Trial) -> None:
    trial.count_all()
    trial.record(checks=[trial.check])
    page = trial.world.client("grower").get(
        trial.world.url(f"blocks/{trial.block.uuid}/")
    )
    text = " ".join(page.content.decode().split())
    found = re.search(r'<script id="figure-leaf"[^>]*>(.*?)</script>', text)
    assert found is not None
    layout = json.loads(found[1])["layout"]
    lines = [shape for shape in layout["shapes"] if shape["name"] == "treatment"]
    assert [line["x0"] for line in lines] == ["2026-08-04"]
    assert "sulfur" in [note["text"] for note in layout["annotations"]]
    assert "Treatments: sulfur on 4 August 2026." in text
    assert f"treatments/record/?block={trial.block.uuid}" in text
    # The check says what it was, and its chart has no mark: nothing was done to it.
    check = trial.world.client("grower").get(
        trial.world.url(f"blocks/{trial.check.uuid}/")
    )
    assert "left untreated as a check" in check.content.decode()
    assert '"treatment"' not in check.content.decode()


def test_many_treatments_cost_no_more_queries(
    trial: Trial, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Of these, 8 find the person and the group, and open and close the door."""
    for number in range(12):
        trial.record(
            treated=[
                trial.block,
                add_block(
                    trial.world.farms[0], f"B{number}", west=10.01 + number / 100
                ),
            ],
            rate=1.0 + number,
        )
    client = trial.world.client("grower")
    newest = all_records(trial.world)[-1]
    with django_assert_max_num_queries(8 + 4):
        client.get(trial.world.url("treatments/"))
    with django_assert_max_num_queries(8 + 4):
        client.get(trial.world.url(f"treatments/{newest.uuid}/"))
