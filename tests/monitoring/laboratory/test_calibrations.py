"""Calibration runs: entered, corrected, withdrawn, pooled and put in force."""

import re
from datetime import date
from typing import Any

import pytest
from django.db import InternalError, connection, transaction
from django.db.utils import IntegrityError
from pytest_django.fixtures import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.estimation import SpikeRun, pool_recoveries
from monitoring.models import (
    CalibrationRun,
    Density,
    Organism,
    Recovery,
    RoundChange,
)
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db
METHOD = "35 % alcohol, 50 ml, 30 s shaking"
SPIKES = [(43, 50), (52, 60), (41, 50), (58, 70)]


def mites_of(world: World) -> Organism:
    with stating(world.group.pk):
        found: Organism = Organism.objects.get(code="rust_mites")
    return found


def values(world: World, **more: Any) -> dict[str, Any]:
    usual = {
        "organism": mites_of(world).pk,
        "tissue": "leaf",
        "method": METHOD,
        "kind": "spikes",
        "added": 50,
        "recovered": 43,
        "ran_on": "2026-03-02",
        "ran_by": "A. Analyst",
    }
    return {key: value for key, value in (usual | more).items() if value is not None}


def washes(world: World, catches: str, **more: Any) -> dict[str, Any]:
    kind = {"kind": "repeat_washes", "added": None, "recovered": None}
    return values(world, catches=catches, **(kind | more))


def enter(world: World, sent: dict[str, Any], role: str = "lab") -> Any:
    return world.client(role).post(world.url("laboratory/calibrations/enter/"), sent)


def enter_spikes(world: World, pairs: list[tuple[int, int]] = SPIKES) -> None:
    for day, (found, added) in enumerate(pairs, start=1):
        sent = values(world, added=added, recovered=found, ran_on=f"2026-03-{day:02d}")
        assert enter(world, sent).status_code == 302


def runs(world: World) -> list[CalibrationRun]:
    with stating(world.group.pk):
        return list(CalibrationRun.objects.order_by("pk"))


def pool_url(world: World, tissue: str = "leaf") -> str:
    return world.url(f"laboratory/calibrations/{mites_of(world).uuid}/{tissue}/")


def text_of(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def pool_text(world: World, role: str = "lab", **query: str) -> str:
    answer = world.client(role).get(pool_url(world), query)
    assert answer.status_code == 200
    return text_of(answer)


def put_in_force(world: World, role: str = "coordinator", **more: str) -> Any:
    text = pool_text(world, "coordinator")
    form = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    form |= {"valid_from": "2026-01-01", "note": ""} | more
    return world.client(role).post(f"{pool_url(world)}in-force/", form)


def test_a_run_is_entered_shown_and_listed(world: World) -> None:
    answer = enter(world, washes(world, "412, 61 9", note="six leaves"))
    assert answer.status_code == 302
    (run,) = runs(world)
    assert (run.catches, run.added, run.recovered) == ([412, 61, 9], None, None)
    assert run.created_by == world.people["lab"]
    page = text_of(world.client("lab").get(answer["Location"]))
    assert "wash 1: 412; wash 2: 61; wash 3: 9" in page
    assert "483 (standard error" in page
    assert "six leaves" in page
    listed = world.client("lab").get(world.url("laboratory/calibrations/"))
    assert "412, 61, 9" in text_of(listed)
    assert METHOD in text_of(listed)


def test_a_spiked_sample_alone_has_jeffreys_interval(world: World) -> None:
    """Brown, Cai & DasGupta 2001, Stat. Sci. 16:101-133; 43 of 50: 0.745 to 0.935."""
    answer = enter(world, values(world))
    page = text_of(world.client("lab").get(answer["Location"]))
    assert "brings off 86 % of the rust mites (74 % to 94 %" in page


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"catches": "40 52"},
            "The second wash caught 52, not less than the first (40)",
        ),
        ({"catches": "40 40"}, "not less than the first"),
        ({"catches": "0 0"}, "No wash caught anything"),
        ({"catches": "40"}, "two washes or more"),
        ({"catches": ""}, "two washes or more"),
        ({"catches": "40 -3"}, "“-3” is no whole number of animals"),
        ({"catches": "40 3.5"}, "“3.5” is no whole number"),
        ({"catches": "40 lots"}, "“lots” is no whole number"),
        ({"catches": "9999999 3"}, "“9999999” is no whole number of animals up to"),
        ({"catches": " ".join(["3"] * 13)}, "At most 12 washes"),
        ({"catches": "40 5", "added": 50}, "Leave this empty for repeat washes"),
        ({"catches": "40 5", "ran_on": "2999-01-01"}, "has not come yet"),
        ({"catches": "40 5", "ran_on": "lately"}, "Write the date as"),
        ({"catches": "40 5", "organism": 0}, "valid choice"),
        ({"catches": "40 5", "tissue": "root"}, "valid choice"),
        ({"catches": "40 5", "kind": "guess"}, "valid choice"),
        ({"catches": "40 5", "method": " "}, "required"),
        ({"catches": "40 5", "method": "x" * 81}, "at most 80"),
        ({"catches": "40 5", "ran_by": ""}, "required"),
    ],
)
def test_washes_that_cannot_be_are_refused_in_words(
    world: World, change: dict[str, Any], words: str
) -> None:
    answer = enter(world, washes(world, "40 5") | change)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert runs(world) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"recovered": 51}, "More than the 50 added"),
        ({"added": 0}, "greater than or equal to 1"),
        ({"added": 2_000_000}, "less than or equal to 1000000"),
        ({"recovered": -1}, "greater than or equal to 0"),
        ({"recovered": "most"}, "Write a whole number"),
        ({"added": None}, "Give both"),
        ({"recovered": None}, "Give both"),
        ({"catches": "40 5"}, "Leave this empty for a spiked sample"),
    ],
)
def test_spikes_that_cannot_be_are_refused_in_words(
    world: World, change: dict[str, Any], words: str
) -> None:
    answer = enter(world, values(world, **change))
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert runs(world) == []


def test_what_was_typed_is_still_there_after_a_refusal(world: World) -> None:
    answer = enter(world, washes(world, "40 52", note="with hairs", method="rinse"))
    text = text_of(answer)
    assert 'value="40 52"' in text
    assert 'value="with hairs"' in text
    assert 'value="rinse"' in text


def test_the_same_run_twice_is_refused_unless_the_note_tells_them_apart(
    world: World,
) -> None:
    assert enter(world, values(world)).status_code == 302
    again = enter(world, values(world))
    assert again.status_code == 409
    assert "there already" in text_of(again)
    assert enter(world, values(world, note="second run")).status_code == 302
    assert len(runs(world)) == 2


def test_a_run_is_corrected_by_another_and_stays_in_sight(world: World) -> None:
    enter(world, values(world))
    (first,) = runs(world)
    url = world.url(f"laboratory/calibrations/runs/{first.uuid}/correct/")
    client = world.client("lab")
    assert 'value="43"' in text_of(client.get(url))
    sent = values(world, recovered=34)
    assert client.post(url, sent).status_code == 422
    assert client.post(url, sent | {"reason": "digits turned"}).status_code == 302
    old, new = runs(world)
    assert (old.state, old.reason, old.recovered) == ("superseded", "digits turned", 43)
    assert (new.state, new.recovered, new.supersedes_id) == ("standing", 34, old.pk)
    page = text_of(client.get(world.url(f"laboratory/calibrations/runs/{old.uuid}/")))
    assert "digits turned" in page
    assert str(new.uuid) in page
    # A second correction of the first comes too late, and changes nothing.
    late = client.post(url, sent | {"reason": "again"})
    assert late.status_code == 409
    assert "already" in text_of(late)
    assert len(runs(world)) == 2


def test_a_correction_that_is_refused_leaves_the_first_standing(world: World) -> None:
    enter(world, values(world))
    (first,) = runs(world)
    url = world.url(f"laboratory/calibrations/runs/{first.uuid}/correct/")
    sent = washes(world, "40 52") | {"reason": "was a wash"}
    assert world.client("lab").post(url, sent).status_code == 422
    (still,) = runs(world)
    assert still.state == "standing"


def test_a_run_is_withdrawn_with_a_reason_and_once(world: World) -> None:
    enter_spikes(world)
    first = runs(world)[0]
    url = world.url(f"laboratory/calibrations/runs/{first.uuid}/withdraw/")
    client = world.client("coordinator")
    assert client.post(url, {"reason": ""}).status_code == 422
    assert client.post(url, {"reason": "cold alcohol"}).status_code == 302
    withdrawn = runs(world)[0]
    assert (withdrawn.state, withdrawn.reason) == ("withdrawn", "cold alcohol")
    assert withdrawn.ended_by == world.people["coordinator"]
    assert client.post(url, {"reason": "twice"}).status_code == 409
    assert "from 3 runs" in pool_text(world)


def test_the_database_keeps_what_was_measured(world: World) -> None:
    enter(world, values(world))
    with (
        stating(world.group.pk),
        pytest.raises((InternalError, IntegrityError), match="never changed"),
        transaction.atomic(),
    ):
        CalibrationRun.objects.update(recovered=50)
    with (
        stating(world.group.pk),
        pytest.raises((InternalError, IntegrityError), match="never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("DELETE FROM monitoring_calibrationrun")


def test_a_pool_shows_each_run_the_mean_and_a_run_to_come(world: World) -> None:
    enter_spikes(world)
    text = pool_text(world)
    pooled = pool_recoveries(
        [SpikeRun(recovered=found, added=added) for found, added in SPIKES]
    )
    low, high = pooled.new_run.interval()
    assert f"brings off {100 * pooled.mean:.0f} % of the animals on average" in text
    assert f"lies between {100 * low:.0f} % and {100 * high:.0f} %" in text
    for found, added in SPIKES:
        assert f"{found} of {added} found again" in text
    assert 'id="runs-spikes" type="application/json"' in text
    assert "a run to come: 95 in 100" in text


def test_kinds_are_pooled_apart_and_together(world: World) -> None:
    enter_spikes(world)
    enter(world, washes(world, "412 61 9"))
    text = pool_text(world)
    for title in ("Repeat washes", "Spiked samples", "Both together"):
        assert f"<h2>{title}</h2>" in text
    assert "from 1 run)" in text
    assert "from 4 runs)" in text
    assert "from 5 runs)" in text


def test_methods_are_kept_apart_whatever_their_spaces_and_case(world: World) -> None:
    enter_spikes(world)
    enter(world, values(world, method=" 35 %  ALCOHOL, 50 ml, 30 s shaking"))
    enter(world, values(world, method="brush", recovered=20))
    text = pool_text(world)
    assert "from 5 runs)" in text
    assert "?method=brush" in text
    assert "from 1 run)" in pool_text(world, method="brush")
    assert "No run of this kind" in pool_text(world, method="never done")


def test_an_organism_without_runs_has_an_empty_page_and_other_tissues_none(
    world: World,
) -> None:
    assert "No run of this kind" in pool_text(world)
    client = world.client("lab")
    assert client.get(pool_url(world, "root")).status_code == 404


def test_repeat_washes_are_gathered_out_of_sheets(world: World) -> None:
    desk = Desk(world)
    header = (
        "bag,block,collected_on,tissue,position,wash,alcohol_percent,volume_ml,shake_s,"
        "rust_mites,rust_mites_cells,analyst"
    )
    rows = []
    for bag in range(6):
        for wash, count in enumerate((80 + bag, 12, 2), start=1):
            rows.append(
                f"{bag},Block 0,2026-08-14,leaf,mid,{wash},35,50,30,{count},,A. Nalyst"
            )
    # One washed twice only, one whose first wash was counted in part.
    rows += [
        f"7,Block 0,2026-08-14,leaf,mid,{wash},35,50,30,{count},,"
        for wash, count in ((1, 90), (2, 14))
    ]
    rows += [
        f"8,Block 0,2026-08-14,leaf,mid,{wash},35,50,30,{count},{cells},"
        for wash, count, cells in ((1, 40, 20), (2, 30, ""))
    ]
    sheet = desk.publish(desk.upload("\n".join([header, *rows]).encode()))
    assert sheet.state == "published", desk.findings(sheet)
    text = pool_text(world)
    assert "495, 72, 12 washed off" in text
    assert "(6 bags)" in text
    assert "90, 14 washed off" in text
    assert "1 bag with repeat washes could not be used" in text
    assert "round of Block 0" in text
    assert METHOD in text
    listed = world.client("lab").get(world.url("laboratory/calibrations/"))
    assert "2, 2 out of sheets" in text_of(listed)


def test_washes_in_sheets_that_do_not_fall_are_named_and_left_out(world: World) -> None:
    desk = Desk(world)
    rows = [bag_row(bag=1, rust_mites=count) for count in (4,)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    again = "bag,block,collected_on,tissue,position,wash,rust_mites\n"
    again += "1,Block 0,2026-08-14,leaf,mid,2,9\n"
    sheet = desk.publish(desk.upload(again.encode()))
    assert sheet.state == "published", desk.findings(sheet)
    text = pool_text(world)
    assert "Runs that tell nothing" in text
    assert "The second wash caught 9, not less than the first (4)" in text


def test_a_pool_in_force_moves_the_densities_and_names_its_runs(world: World) -> None:
    desk = Desk(world)
    rows = [bag_row(bag=i, rust_mites=20 + i) for i in range(6)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(world.group.pk)
    enter_spikes(world)
    assert put_in_force(world, note="spring").status_code == 302
    with stating(world.group.pk):
        recovery = Recovery.objects.get(origin="spikes")
        assert RoundChange.objects.count() == 1
    pooled = pool_recoveries(
        [SpikeRun(recovered=found, added=added) for found, added in SPIKES]
    )
    assert recovery.alpha == pytest.approx(pooled.new_run.a)
    assert recovery.beta == pytest.approx(pooled.new_run.b)
    assert "4 runs, 1 March 2026 to 4 March 2026" in recovery.note
    assert recovery.note.endswith("spring")
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(organism__code="rust_mites", is_current=True)
    assert density.sample_mean == pytest.approx(22.5 / pooled.mean)
    assert "These runs are in force" in pool_text(world)
    for role in ("grower", "lab"):
        page = text_of(world.client(role).get(world.url(f"densities/{density.uuid}/")))
        assert "The 4 calibration runs behind the recovery" in page
        assert "43 of 50 found again, A. Analyst" in page
        assert ("/laboratory/calibrations/runs/" in page) == (role == "lab")


def test_a_density_keeps_the_runs_as_they_stood_when_put_in_force(
    world: World,
) -> None:
    enter_spikes(world)
    put_in_force(world)
    first = runs(world)[0]
    world.client("lab").post(
        world.url(f"laboratory/calibrations/runs/{first.uuid}/withdraw/"),
        {"reason": "wrong leaf"},
    )
    assert "These runs are in force" not in pool_text(world)
    with stating(world.group.pk):
        recovery = Recovery.objects.get(origin="spikes")
    assert len(recovery.basis["runs"]) == 4


def test_recovery_alone_is_told_in_one_sentence(world: World) -> None:
    """The interval of 0.80 to 0.90 alone: a recovery of 0.8535 on average."""
    desk = Desk(world)
    desk.publish(desk.upload(bag_sheet(*[bag_row(bag=i) for i in range(6)])))
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(organism__code="rust_mites", is_current=True)
    page = text_of(world.client("grower").get(world.url(f"densities/{density.uuid}/")))
    assert "does not average out, however many bags there are" in page
    # 1 - 0.8535/0.9 and 0.8535/0.8 - 1.
    assert "(5 % less to 7 % more)" in page
    assert "No calibration run of the laboratory is behind it: common practice" in page


@pytest.mark.parametrize("pairs", [SPIKES[:1], SPIKES[:2]])
def test_fewer_than_three_runs_are_not_put_in_force(
    world: World, pairs: list[tuple[int, int]]
) -> None:
    enter_spikes(world, pairs)
    text = pool_text(world, "coordinator")
    assert "Three runs or more are needed" in text
    assert "Put in force" not in text
    digest = _digest(world)
    sent = {"origin": "spikes", "method": METHOD, "digest": digest,
            "valid_from": "2026-01-01"}  # fmt: skip
    url = f"{pool_url(world)}in-force/"
    answer = world.client("coordinator").post(url, sent)
    assert answer.status_code == 422
    assert "3 runs or more are needed" in text_of(answer)


def _digest(world: World) -> str:
    from monitoring.pages.recovery_page import recovery_page  # noqa: PLC0415 - once

    with stating(world.group.pk):
        mites = Organism.objects.get(code="rust_mites")
        page = recovery_page(world.group, mites, "leaf", method="", on=date(2026, 8, 1))
        return page.parts[0].pool.digest


@pytest.mark.parametrize(
    ("change", "status", "words"),
    [
        ({"digest": "another"}, 409, "Look again"),
        ({"origin": "stated"}, 409, "Look again"),
        ({"valid_from": "soon"}, 422, "Write the date as"),
        ({"valid_from": ""}, 422, "required"),
        ({"note": "x" * 151}, 422, "at most 150"),
    ],
)
def test_what_cannot_be_put_in_force_is_refused_in_words(
    world: World, change: dict[str, str], status: int, words: str
) -> None:
    enter_spikes(world)
    answer = put_in_force(world, **change)
    assert answer.status_code == status
    assert words in text_of(answer)
    with stating(world.group.pk):
        assert not Recovery.objects.filter(origin="spikes").exists()


def test_runs_that_changed_meanwhile_are_not_put_in_force_unseen(world: World) -> None:
    enter_spikes(world)
    text = pool_text(world, "coordinator")
    form = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    enter(world, values(world, recovered=30, ran_on="2026-04-01"))
    sent = form | {"valid_from": "2026-01-01"}
    url = f"{pool_url(world)}in-force/"
    assert world.client("coordinator").post(url, sent).status_code == 409


def test_only_a_coordinator_puts_in_force(world: World) -> None:
    enter_spikes(world)
    assert "Put in force" not in pool_text(world, "lab")
    assert put_in_force(world, "lab").status_code == 403


def test_pages_of_runs_make_few_queries(
    world: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    enter_spikes(world)
    client = world.client("lab")
    # Seven are those of any page: session, person, membership and the transaction.
    urls = [world.url("laboratory/calibrations/"), pool_url(world)]
    for url in [*urls, world.url("laboratory/calibrations/enter/")]:
        with django_assert_max_num_queries(7 + 5):
            assert client.get(url).status_code == 200
