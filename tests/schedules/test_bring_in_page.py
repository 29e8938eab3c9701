"""The page that brings in a sheet: look first, answer, bring in; nothing by half."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from gardens.models import Bed, Garden, Person, Plot, Tenancy

HEAD = "garden,plot,plot size,holder,contact,bed measures,crop,planted on,sown or transplanted\n"
GOOD = HEAD + "Lock Lane,20,,Ada,,2 × 4 x 8 ft,,,\n"
NEW = HEAD + "Kiln Field,1,3 x 6 m,Cy,,,,,\n"


def address(cast: Any) -> str:
    return reverse("bring_in", args=[cast.programme.pk])


def look(client: Any, cast: Any, sheet: str, **more: Any) -> Any:
    return client.post(address(cast), {"sheet": sheet, **more})


def bring(client: Any, cast: Any, sheet: str, **more: Any) -> Any:
    digest = look(client, cast, sheet).context["digest"]
    return look(client, cast, sheet, looked=digest, step="bring", since="1 March 2026", **more)


def test_looking_keeps_nothing(cast: Any, as_: Any) -> None:
    page = look(as_(cast.organiser), cast, GOOD)
    assert (
        "Ready to bring in 1 plot." in page.content.decode() and not Plot.objects.filter(label="20").exists()
    )


def test_bringing_in_without_a_look_only_looks(cast: Any, as_: Any) -> None:
    look(as_(cast.organiser), cast, GOOD, step="bring", since="1 March 2026")
    assert not Plot.objects.filter(label="20").exists()


def test_what_was_looked_at_is_brought_in(cast: Any, as_: Any) -> None:
    answer = bring(as_(cast.organiser), cast, GOOD.replace("\n", "\r\n"))
    assert answer.headers["Location"] == reverse("programme", args=[cast.programme.pk])
    assert Bed.objects.filter(plot__label="20").count() == 2
    assert str(Tenancy.objects.get(plot__label="20").start) == "2026-03-01"


def test_a_sheet_mended_on_the_page_is_looked_at_again(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    digest = look(client, cast, GOOD).context["digest"]
    page = look(client, cast, GOOD.replace("20", "21"), looked=digest, step="bring", since="1 March 2026")
    assert page.status_code == 200 and not Plot.objects.filter(label__in=("20", "21")).exists()


def test_bad_cells_are_named_and_their_rows_left_out_on_request(cast: Any, as_: Any) -> None:
    client, sheet = as_(cast.organiser), GOOD + "Lock Lane,21,,,,4 by,,,\n"
    page = look(client, cast, sheet).content.decode()
    assert "One cell needs another look." in page and "cut short" in page and "4 by" in page
    assert bring(client, cast, sheet).status_code == 200 and not Plot.objects.filter(label="20").exists()
    assert bring(client, cast, sheet, leave_out="yes").status_code == 302
    assert Plot.objects.filter(label="20").exists() and not Plot.objects.filter(label="21").exists()


def test_a_question_is_asked_with_nothing_chosen(cast: Any, as_: Any) -> None:
    Person.objects.create(programme=cast.programme, name="Ada", contact="555 0101")
    client = as_(cast.organiser)
    page = look(client, cast, GOOD)
    (question,) = page.context["seen"].questions
    assert "555 0101" in page.content.decode() and "checked" not in page.content.decode()
    assert bring(client, cast, GOOD).status_code == 200 and not Plot.objects.filter(label="20").exists()
    assert bring(client, cast, GOOD, **{question.key: "another"}).status_code == 302
    assert Person.objects.filter(name="Ada").count() == 2


def test_a_new_garden_takes_the_season_of_another(cast: Any, as_: Any) -> None:
    blank = {"last_frost": "", "first_frost": "", "first_feed": "", "last_feed": ""}
    client = as_(cast.organiser)
    assert "Choose one of the answers" in bring(client, cast, NEW, **blank).content.decode()
    assert bring(client, cast, NEW, like=str(cast.garden.pk), **blank).status_code == 302
    assert Garden.objects.get(name="Kiln Field").first_feed == cast.garden.first_feed


def test_a_new_garden_gets_a_season_of_its_own(cast: Any, as_: Any) -> None:
    days = {
        "last_frost": "1 May 2026",
        "first_frost": "1 Oct 2026",
        "first_feed": "18 May 2026",
        "last_feed": "7 Sept 2026",
    }
    client = as_(cast.organiser)
    page = bring(client, cast, NEW, like="own", **{**days, "first_frost": ""}).content.decode()
    assert "Nothing is written here yet" in page and 'value="18 May 2026"' in page
    assert bring(client, cast, NEW, like="own", **days).status_code == 302
    assert str(Garden.objects.get(name="Kiln Field").first_feed) == "2026-05-18"


def test_the_same_sheet_again_says_that_it_stands(cast: Any, as_: Any) -> None:
    client = as_(cast.organiser)
    bring(client, cast, GOOD)
    assert "All of this stands here already." in look(client, cast, GOOD).content.decode()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("plots.csv", b"PK\x03\x04 not a csv", "packed spreadsheet"),
        ("plots.csv", b"%PDF-1.7", "PDF"),
        ("plots.csv", b"plot\x00", "no text"),
        ("plots.csv", b"a,b\n1,2\n", "must name the columns"),
    ],
)
def test_a_file_that_is_not_what_its_name_says(
    cast: Any, as_: Any, name: str, data: bytes, words: str
) -> None:
    page = as_(cast.organiser).post(address(cast), {"sheet": "", "file": SimpleUploadedFile(name, data)})
    assert words in page.content.decode() and "One answer needs another look" in page.content.decode()


def test_a_file_of_western_letters_is_read_and_said(cast: Any, as_: Any) -> None:
    data = (HEAD + "Lock Lane,20,,José,,,,,\n").encode("cp1252")
    page = as_(cast.organiser).post(
        address(cast), {"sheet": "", "file": SimpleUploadedFile("plots.csv", data)}
    )
    assert "José" in page.content.decode() and "cp1252" in page.content.decode()


def test_nothing_at_all_is_told(cast: Any, as_: Any) -> None:
    assert "Nothing is here yet" in look(as_(cast.organiser), cast, "").content.decode()


def test_what_stands_in_a_cell_is_shown_as_text(cast: Any, as_: Any) -> None:
    page = look(as_(cast.organiser), cast, HEAD + "Lock Lane,20,<script>1</script>,,,,,,\n").content.decode()
    assert "<script>1" not in page and "&lt;script&gt;1" in page


@pytest.mark.parametrize("rows", [2, 60])
def test_the_look_asks_a_constant_number_of_queries(
    cast: Any, as_: Any, rows: int, django_assert_max_num_queries: Any
) -> None:
    client = as_(cast.organiser)
    sheet = HEAD + "".join(
        f"Lock Lane,{n},,P{n},,4 x 8 ft,kale,1 May 2026,sown\n" for n in range(100, 100 + rows)
    )
    with django_assert_max_num_queries(15):
        look(client, cast, sheet)
