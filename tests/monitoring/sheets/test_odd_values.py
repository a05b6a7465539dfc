"""More of what people send: shapes of rows, names, dates, worksheets and races."""

from datetime import date
from pathlib import Path
from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import connection
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from openpyxl import Workbook

from blocks.tenancy import stating
from monitoring.models import Bag, CellCount, Sheet, Tally
from monitoring.sheets.checking.codes import bag_code, latin
from monitoring.sheets.checking.values import DoubtError
from monitoring.sheets.columns import BAG_COLUMNS, names_of, normal_name
from monitoring.sheets.copying import copy_rows
from monitoring.sheets.progress import progress_of
from monitoring.sheets.reading import limits
from monitoring.sheets.work import work_on
from tests.desks import HEADER, Desk, bag_row, bag_sheet
from tests.monitoring.sheets.workbooks import usual_row, with_part, workbook

SHORT = "bag,block,collected_on,tissue,position,rust_mites"
LINE = "1,Block 0,2026-08-14,leaf,mid,3"


def codes(desk: Desk, content: bytes, level: str = "error") -> list[str]:
    return desk.codes(desk.upload(content), level)


@pytest.mark.django_db
def test_c08_a_torn_decimal_is_found_where_the_row_ends_empty(desk: Desk) -> None:
    header = "bag,block,collected_on,tissue,position,volume_ml,shake_s,rust_mites,note"
    row = "1,Block 0,2026-08-14,leaf,mid,47,5,30,3,"
    assert codes(desk, f"{header}\n{row}\n".encode()) == ["too-many-fields"]


@pytest.mark.django_db
def test_c16_commas_at_the_end_of_rows_are_no_matter(desk: Desk) -> None:
    sheet = desk.upload(f"{SHORT}\n{LINE},,,\n".encode())
    assert (desk.codes(sheet), sheet.summary["new"]) == ([], 1)


@pytest.mark.django_db
def test_c75_a_row_that_was_cut_is_told(desk: Desk) -> None:
    content = f"{SHORT},note\n{LINE},fine\n2,Block 0,2026-08-14,leaf,mid,1"
    sheet = desk.upload(content.encode())
    (finding,) = desk.findings(sheet)
    assert (finding.code, finding.row_number) == ("too-few-fields", 3)


@pytest.mark.django_db
def test_c24_saying_which_comes_first_leaves_only_the_wrong_row(desk: Desk) -> None:
    lines = ["1,Block 0,13/04/2026,leaf,mid,3", "2,Block 0,04/13/2026,leaf,mid,3"]
    sheet = desk.upload("\n".join([SHORT, *lines, ""]).encode())
    assert sheet.summary["open_questions"] == ["slash_dates"]
    sheet = desk.answer(sheet, slash_dates="day_first")
    found = [row for row in desk.findings(sheet) if row.level == "error"]
    assert [(row.code, row.row_number) for row in found] == [("no-such-day", 3)]


@pytest.mark.django_db
def test_c27_a_day_before_the_first_season_is_doubted(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row())))
    early = f"{SHORT}\n{LINE.replace('2026', '2006')}\n".encode()
    assert codes(desk, early, "warning") == ["before-first-season"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "day", ["0026-08-14", "9999-12-31T23:59:00-12:00", "0001-01-01T00:00:00+14:00"]
)
def test_days_beyond_any_season_are_errors(desk: Desk, day: str) -> None:
    (code,) = codes(desk, f"{SHORT}\n{LINE.replace('2026-08-14', day)}\n".encode())
    assert code in {"out-of-range", "not-a-date"}


@pytest.mark.django_db
def test_c33_a_decimal_comma_that_may_group_thousands_is_an_error(desk: Desk) -> None:
    rows = [SHORT.replace(",", ";") + ";volume_ml", LINE.replace(",", ";") + ";1,234"]
    content = "\n".join([*rows, ""])
    assert codes(desk, content.encode()) == ["grouped-digits"]


@pytest.mark.django_db
def test_c36_blank_zero_and_uncountable_are_three_things(desk: Desk) -> None:
    rows = [
        bag_row(bag=bag, rust_mites=count, predatory_mites="", thrips="")
        for bag, count in enumerate(["", "0", "uncountable"])
    ]
    sheet = desk.publish(desk.upload(bag_sheet(*rows)))
    with stating(sheet.farm_group_id):
        found = Tally.objects.values_list("wash__bag__code", "outcome", "count")
        assert set(found) == {("1", "counted", 0), ("2", "uncountable", None)}
        assert Bag.objects.count() == 3


@pytest.mark.django_db
def test_c47_many_predators_are_doubted_and_many_rust_mites_are_not(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(rust_mites=5000, predatory_mites=5000)))
    (finding,) = desk.findings(sheet)
    assert (finding.code, finding.column) == ("implausible-count", "predatory_mites")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "written",
    ["rust mite", "<i>Calepitrimerus vitis</i>", "*C. vitis*", "Rust-Mites"],
)
def test_c50_an_organism_has_further_names(desk: Desk, written: str) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=2, rust_mites_cells="H8"))))
    content = f"bag,organism,cell,count\n1,{written},H8,2\n".encode()
    sheet = desk.publish(desk.upload(content))
    with stating(sheet.farm_group_id):
        assert CellCount.objects.get().count == 2


@pytest.mark.django_db
def test_c52_another_groups_bag_is_as_unknown_as_any(
    desk: Desk, make_world: Any
) -> None:
    other = Desk(make_world())
    other.publish(other.upload(bag_sheet(bag_row(bag="77"))))
    there, nowhere = (
        desk.findings(desk.upload(f"bag,organism,cell,count\n{code},thrips,H8,1\n".encode()))
        for code in ("77", "78")
    )  # fmt: skip
    assert there[0].code == nowhere[0].code == "unknown-bag"
    assert there[0].sentence == nowhere[0].sentence.replace("78", "77")


@pytest.mark.django_db
def test_c55_zeros_lost_are_found_in_the_same_round(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(bag="0012"))))
    assert codes(desk, bag_sheet(bag_row(bag="12", rust_mites=8))) == ["zeros-lost"]


@pytest.mark.parametrize("code", ["LAB-12", "ROW-1", "12", "A/7", "0012", "4E2"])
def test_c55_labels_that_only_resemble_dates_stay(code: str) -> None:
    assert bag_code(code) == code


def test_c56_letters_that_look_latin_are_read_as_such() -> None:
    with pytest.raises(DoubtError) as doubt:
        bag_code("\u0410\u04121")
    assert doubt.value.value == "AB1"
    assert latin("\u0411\u0443\u043a") == "\u0411\u0443\u043a"


@pytest.mark.django_db
def test_c57_spaces_around_values_are_told_once_a_column(desk: Desk) -> None:
    lines = [f"{bag} , Block 0,2026-08-14,leaf,mid,3" for bag in range(1, 30)]
    sheet = desk.upload("\n".join([SHORT, *lines, ""]).encode())
    found = desk.findings(sheet)
    assert [(row.code, row.column) for row in found] == [
        ("outer-spaces", "bag"),
        ("outer-spaces", "block"),
    ]
    assert "29 rows" in found[0].sentence


@pytest.mark.django_db
def test_c60_merged_cells_of_a_title_are_no_matter(desk: Desk) -> None:
    def entitle(book: Workbook) -> None:
        book.active.insert_rows(1)
        book.active["A1"] = "Counts of August"
        book.active.merge_cells("A1:F1")

    sheet = desk.upload(workbook(change=entitle))
    assert desk.codes(sheet) == []
    assert desk.codes(sheet, "warning") == ["lines-above-header"]


@pytest.mark.django_db
def test_c63_a_worksheet_without_counts_gives_way(desk: Desk) -> None:
    def lead_in(book: Workbook) -> None:
        book.create_sheet("about", 0).append(["What this workbook is"])

    sheet = desk.upload(workbook(change=lead_in))
    assert sheet.state == Sheet.State.CHECKED
    assert desk.codes(sheet, "warning") == ["worksheet-left"]
    sheet = desk.answer(sheet, worksheet="about")
    assert sheet.summary["open_questions"] == ["worksheet"]


@pytest.mark.django_db
def test_c67_rich_text_is_read_as_text(desk: Desk) -> None:
    def enrich(part: bytes) -> bytes:
        plain = b"<t>Block 0</t>"
        assert plain in part
        bold = b"<r><rPr><b/></rPr><t>0</t></r>"
        return part.replace(plain, b'<r><t xml:space="preserve">Block </t></r>' + bold)

    content = with_part(workbook(), "xl/worksheets/sheet1.xml", enrich)
    assert codes(desk, content) == []


@pytest.mark.django_db
def test_c70_a_cell_at_the_far_corner_stops_the_child_alone(desk: Desk) -> None:
    def stretch(book: Workbook) -> None:
        book.active["XFD1048576"] = 1

    sheet = desk.upload(workbook(change=stretch))
    assert sheet.state == Sheet.State.REFUSED
    assert sheet.summary["refused"] in {"workbook-stopped", "too-much-memory"}


@pytest.mark.django_db
def test_c70_a_file_over_the_limit_is_refused_by_size(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitoring.sheets.reading.kinds.FILE_BYTES", 50)
    assert desk.upload(f"{SHORT}\n{LINE}\n".encode()).summary["refused"] == (
        "file-too-large"
    )


@pytest.mark.django_db
def test_c72_nothing_is_unpacked_outside(desk: Desk, tmp_path: Path) -> None:
    content = with_part(workbook(), "../../../slip.txt", lambda _: b"x")
    assert desk.upload(content).state == Sheet.State.CHECKED
    assert not list(tmp_path.rglob("slip.txt"))


@pytest.mark.django_db
@pytest.mark.parametrize("heading", sorted(names_of(BAG_COLUMNS)))
def test_c18_every_published_synonym_is_read(heading: str) -> None:
    assert normal_name(f" {heading.replace('_', ' ').title()}. ") == heading


@pytest.mark.django_db
def test_two_columns_that_become_one_are_refused_in_words(desk: Desk) -> None:
    content = f"{SHORT},mould,mould_cells,mould\n{LINE},1,,2\n".encode()
    sheet = desk.upload(content)
    coordinator = Desk(desk.world, "coordinator")
    sheet = coordinator.answer_all(sheet, {"organism:mould": "add_other"})
    assert (sheet.state, sheet.summary["refused"]) == ("refused", "column-twice")


@pytest.mark.django_db
def test_cells_without_their_count_column_are_missed(desk: Desk) -> None:
    content = f"{SHORT},thrips_cells\n{LINE},4\n".encode()
    sheet = desk.upload(content)
    assert sheet.summary["refused"] == "missing-column"
    assert "thrips" in sheet.summary["sentence"]


@pytest.mark.django_db
@pytest.mark.parametrize("count", ["=1+1", "-", "@note"])
def test_what_was_made_harmless_comes_back_as_it_was(desk: Desk, count: str) -> None:
    sheet = desk.upload(f"{SHORT},note\n{LINE},'{count}\n".encode())
    assert desk.codes(sheet) == []
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        assert Bag.objects.get().note == count


@pytest.mark.django_db
def test_a_field_of_any_length_ends_in_a_sentence(desk: Desk) -> None:
    long = "x" * (limits.FIELD_CHARS + 1)
    assert codes(desk, f"{SHORT},note\n{LINE},{long}\n".encode()) == ["field-too-long"]


@pytest.mark.django_db
def test_progress_is_noted_row_by_row(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(), bag_row(bag=2)))
    assert progress_of(sheet.pk) == 3


@pytest.mark.django_db
@hypothesis_settings(
    max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.lists(
            st.one_of(
                st.text(max_size=12),
                st.sampled_from(["0", "-", "H8 G7", "14/08/2026", "\u0663", "'="]),
            ),
            max_size=22,
        ),
        max_size=6,
    )
)  # fmt: skip
def test_whatever_rows_hold_the_sheet_ends_checked_or_refused(
    desk: Desk, rows: list[list[str]]
) -> None:
    lines = [HEADER, *(",".join(row) for row in rows)]
    content = "\n".join(lines).encode("utf-8", errors="replace")
    assert desk.upload(content).state in {"checked", "refused"}


@pytest.mark.django_db
def test_texts_of_any_kind_survive_the_copy() -> None:
    given_rows = [
        (1, 'a\tb\\n"c"\r\n\\.', ["", 'q"\\', None, "{x,y}"], date(2026, 8, 14), 1.5),
        (2, "\\N", [], None, None),
        (3, "", ["\u00e9"], date(2020, 1, 1), 1.0),
    ]
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TEMP TABLE copied (a int, b text, c text[], d date, e float8)"
            " ON COMMIT DROP"
        )
        copy_rows("copied", ("a", "b", "c", "d", "e"), given_rows)
        cursor.execute("SELECT * FROM copied ORDER BY a")
        assert cursor.fetchall() == given_rows


def _publish_at_once(group_id: int, sheets: list[Sheet]) -> None:
    barrier = Barrier(len(sheets))

    def publish(key: int) -> None:
        barrier.wait(timeout=30)
        work_on(group_id, key)
        connection.close()

    threads = [Thread(target=publish, args=(sheet.pk,)) for sheet in sheets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
@pytest.mark.parametrize("same_file", [True, False])
def test_c74_of_two_at_once_exactly_one_counts(
    make_world: Any, *, same_file: bool
) -> None:
    desk = Desk(make_world())
    contents = [bag_sheet(bag_row(), bag_row(bag=2))] * 2
    if not same_file:
        contents[1] += b"\n"
    sheets = [desk.upload(content) for content in contents]
    with stating(desk.world.group.pk):
        Sheet.objects.filter(pk__in=[sheet.pk for sheet in sheets]).update(
            state="publishing", published_by=desk.world.people["lab"]
        )
    _publish_at_once(desk.world.group.pk, sheets)
    with stating(desk.world.group.pk):
        states = sorted(Sheet.objects.values_list("state", flat=True))
        assert states == (
            ["discarded", "published"] if same_file else ["published", "published"]
        )
        assert Tally.objects.count() == 6
        assert len({tally.source_sheet_id for tally in Tally.objects.all()}) == 1


@pytest.mark.django_db
def test_c25_a_number_in_a_date_column_is_the_workbooks_day(desk: Desk) -> None:
    # 46248 is 2026-08-14 in the calendar from 1900: 46023 is 2026-01-01 (ECMA-376
    # part 1, 18.17.4.1: serial 1 is 1900-01-01, and 1900 counts as a leap year).
    sheet = desk.publish(desk.upload(workbook(usual_row(collected_on=46248))))
    with stating(sheet.farm_group_id):
        assert Bag.objects.get().round.collected_on == date(2026, 8, 14)
