"""Weather files as loggers and people write them: taken, asked about, or sent back.

Each case is a file that goes through the upload. Nothing gives an exception, and
nothing counts before it is published.
"""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from blocks.tenancy import stating
from monitoring.models import WeatherUpload
from monitoring.services.weather import answer_weather
from tests.monitoring.sheets.workbooks import workbook
from tests.monitoring.weather.stations import Station, codes, weather_csv

pytestmark = pytest.mark.django_db
HEAD = "date,minimum,maximum,quality\n"
GOOD = "2020-04-01,4,16,measured\n"


def lines(*rows: str, head: str = HEAD) -> bytes:
    return (head + "".join(f"{row}\n" for row in rows)).encode()


HOURS = "".join(f"2020-04-01T{hour:02d}:00,1,2,\n" for hour in range(24))
REFUSED = {
    "empty": (b"", "empty-file"),
    "header alone": (HEAD.encode(), "only-header"),
    "no headings": (b"2020-04-01,4,16\n", "no-header"),
    "no maximum": (b"date,minimum\n2020-04-01,4\n", "no-header"),
    "two minima": (b"date,tmin,min temp,tmax\n2020-04-01,4,4,16\n", "column-twice"),
    "hours": ((HEAD + HOURS).encode(), "many-rows-a-day"),
    "unit of headings": (b"date,tmin_f,tmax_f\n2020-04-01,40,60\n", "other-unit"),
    "unit beneath headings": ("date,tmin,tmax\n,°F,°F\n2020-04-01,40,60\n".encode(),
                              "other-unit"),
    "fahrenheit values": (weather_csv((58, 84), (60, 90), (55, 80)),
                          "looks-like-fahrenheit"),
    "two stations": (lines("A,2020-04-01,4,16", "B,2020-04-02,4,16",
                           head="station,date,min,max\n"), "several-stations"),
    "pdf": (b"%PDF-1.7\n", "pdf"),
    "page": (b"<html><table></table></html>", "web-page"),
    "nul": (GOOD.encode() + b"\x00", "nul-byte"),
    "open quote": ((HEAD + '2020-04-01,"4,16,\n').encode(), "bad-quotes"),
    "broken workbook": (workbook()[:-300], "broken-workbook"),
}  # fmt: skip
IN_ERROR = {
    "minimum above maximum": ("2020-04-02,18,6,", "minimum-above-maximum"),
    "too hot": ("2020-04-02,18,81,", "out-of-range"),
    "too cold": ("2020-04-02,-95,1,", "out-of-range"),
    "words": ("2020-04-02,cold,16,", "not-a-number"),
    "with its unit": ("2020-04-02,4 C,16,", "not-a-number"),
    "spreadsheet error": ("2020-04-02,#REF!,16,", "spreadsheet-error"),
    "no date": (",4,16,", "no-date"),
    "no such day": ("2020-02-30,4,16,", "no-such-day"),
    "year of two digits": ("02.04.20,4,16,", "not-a-date"),
    "too old": ("1820-04-02,4,16,", "out-of-range"),
    "to come": ("2190-04-02,4,16,", "in-the-future"),
    "unknown quality": ("2020-04-02,4,16,wobbly", "unknown-quality"),
    "torn by a decimal comma": ("2020-04-02,4,5,16,8,", "too-many-fields"),
    "lonely surrogate of a number": ("2020-04-02,٤,16,", "not-a-number"),
}
WARNED = {
    "half a day": (["2020-04-01,4,,"], "half-a-day"),
    "the same twice": ([GOOD.strip(), GOOD.strip()], "date-repeated"),
    "a gap": (["2020-04-01,4,16,", "2020-04-05,4,16,"], "gap"),
    "standing still": ([f"2020-04-0{day},4,16," for day in range(1, 7)], "stuck"),
    "rarely so hot": (
        ["2020-04-01,25,51,", "2020-04-02,12,30,", "2020-04-03,12,31,"],
        "rare",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_files_that_cannot_be_taken_are_sent_back_in_words(
    station: Station, case: str
) -> None:
    content, code = REFUSED[case]
    upload = station.upload(content)
    assert upload.state == WeatherUpload.State.REFUSED
    assert upload.preview["code"] == code, upload.preview
    assert upload.preview["sentence"].endswith(".")
    assert station.days() == []


@pytest.mark.parametrize("case", IN_ERROR)
def test_a_row_in_error_is_named_and_the_rest_can_be_published(
    station: Station, case: str
) -> None:
    row, code = IN_ERROR[case]
    upload = station.upload(lines(GOOD.strip(), row))
    assert codes(upload) == [code], upload.preview["findings"]
    (error,) = [one for one in upload.preview["findings"] if one["level"] == "error"]
    assert error["row"] == 3
    assert error["sentence"].endswith(".")
    assert "rows in error" in station.publish_error(upload)
    assert station.days() == []
    station.publish(upload, without_faulty=True)
    assert [day.measured_on for day in station.days()] == [date(2020, 4, 1)]


@pytest.mark.parametrize("case", WARNED)
def test_what_is_doubtful_is_said_and_taken(station: Station, case: str) -> None:
    rows, code = WARNED[case]
    upload = station.publish(station.upload(lines(*rows)))
    assert code in codes(upload, "warning"), upload.preview["findings"]
    assert station.days()


def test_dates_that_disagree_with_themselves_are_errors(station: Station) -> None:
    upload = station.upload(
        lines("2020-04-01,4,16,", "2020-04-02,5,17,", "2020-04-01,4,19,")
    )
    assert codes(upload) == ["date-twice"]
    assert "rows 2, 4" in upload.preview["findings"][0]["sentence"]
    station.publish(upload, without_faulty=True)
    assert [day.measured_on for day in station.days()] == [date(2020, 4, 2)]


def test_a_file_of_errors_alone_publishes_nothing(station: Station) -> None:
    upload = station.upload(lines("2020-04-02,18,6,"))
    with pytest.raises(Exception, match="No row of the file can be used"):
        station.publish(upload, without_faulty=True)


@pytest.mark.parametrize("nothing", ["", "-9999", "-6999", "NA", "-", "999.9", "m"])
def test_signs_for_nothing_are_missing_days(station: Station, nothing: str) -> None:
    station.take(lines(f"2020-04-01,{nothing},{nothing},"))
    (day,) = station.days()
    assert (day.quality, day.minimum_deg_c, day.maximum_deg_c) == (
        "missing", None, None
    )  # fmt: skip


def test_encodings_delimiters_and_decimal_commas(station: Station) -> None:
    text = "Datum;Tmin (°C);Tmax (°C);Station\n02.04.2020;-1,5;\u22120,5;Höhe\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252"):
        body = text.replace("\u2212", "-") if encoding == "cp1252" else text
        read = station.upload(body.encode(encoding), name=f"{encoding}.csv")
        assert codes(read) == [], encoding
        assert "decimal-commas" in codes(read, "warning")
    station.take(text.encode())
    (day,) = station.days()
    assert (day.minimum_deg_c, day.maximum_deg_c) == (-1.5, -0.5)


def test_fahrenheit_is_turned_into_celsius(station: Station) -> None:
    station.take(b"day,min temp (F),max temp (F)\n2020-04-01,32,68\n", unit="F")
    (day,) = station.days()
    assert (day.minimum_deg_c, day.maximum_deg_c) == pytest.approx((0, 20))


def test_a_row_of_units_is_not_a_day(station: Station) -> None:
    station.take("date,tmin,tmax\n,°C,°C\n2020-04-01,1,9\n".encode())
    assert len(station.days()) == 1


def test_slashed_dates_are_asked_about_unless_the_file_tells(station: Station) -> None:
    told = station.upload(lines("03/04/2020,1,9,", "25/04/2020,1,9,"))
    assert told.preview["questions"] == []
    assert told.preview["first_on"] == "2020-04-03"
    asked = station.upload(lines("03/04/2020,1,9,", "04/04/2020,1,9,"))
    (question,) = asked.preview["questions"]
    assert "questions" in station.publish_error(asked)
    with stating(station.world.group.pk):
        answer_weather(asked, {question["key"]: "month_first", "other": "x"})
        asked.refresh_from_db()
    station.publish(asked)
    assert station.days()[0].measured_on == date(2020, 3, 4)


def test_a_workbook_is_read_wherever_its_table_is(station: Station) -> None:
    rows = [[date(2020, 4, 1), 4.25, 16.5], [date(2020, 4, 2), -3, 7]]

    def add_sheet(book: object) -> None:
        sheet = book.create_sheet("Days")  # type: ignore[attr-defined]
        for row in [["Date", "Min", "Max"], *rows]:
            sheet.append(row)

    station.take(workbook(["words", "", "", "", "", ""], change=add_sheet))
    assert [day.minimum_deg_c for day in station.days()] == [4.25, -3]


def test_today_is_not_over_yet(station: Station) -> None:
    today = timezone.localdate()
    upload = station.upload(
        weather_csv((1, 9), (2, 9), first=today - timedelta(days=1))
    )
    assert "today" in codes(upload, "warning")


def test_rows_out_of_order_are_put_in_order(station: Station) -> None:
    upload = station.upload(lines("2020-04-02,1,9,", "2020-04-01,1,9,"))
    assert codes(upload) == codes(upload, "warning") == []
    assert upload.preview["first_on"] == "2020-04-01"


def test_many_gaps_are_told_in_one_sentence_more(station: Station) -> None:
    days = [(1.0, 9.0), None] * 25
    upload = station.upload(weather_csv(*days))
    told = codes(upload, "warning")
    assert told.count("gap") == 20
    assert told.count("more-gaps") == 1


def test_too_many_rows_are_sent_back(station: Station) -> None:
    upload = station.upload(HEAD.encode() + GOOD.encode() * 20_001)
    assert upload.preview["code"] == "too-many-rows"


def test_formulas_without_a_value_are_said(station: Station) -> None:
    def add(book: object) -> None:
        sheet = book.active  # type: ignore[attr-defined]
        for row in (["date", "min", "max"], [date(2020, 4, 1), "=1+1", 9]):
            sheet.append(row)

    upload = station.upload(workbook(["", "", "", "", "", ""], change=add))
    assert "formula-without-value" in codes(upload, "warning"), upload.preview
