"""Numbers, dates, units and heads as laboratories write them."""

from __future__ import annotations

from datetime import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.errors import InputError
from stability.services.mapping import Across, SheetMap, Target, load_map, save_map, target_of
from stability.services.mapping_cells import (
    Dates,
    DecimalMark,
    evidence,
    parse_clock,
    parse_date,
    parse_number,
)
from stability.services.mapping_heads import age_in, likeliest
from stability.services.mapping_units import QUANTITIES, converted, unit_in, unit_named

COMMA, POINT = DecimalMark.COMMA, DecimalMark.POINT


@pytest.mark.parametrize(
    ("text", "by_comma", "by_point"),
    [
        ("398", "398", "398"),
        ("12,5", "12.5", None),
        ("12.5", None, "12.5"),
        ("1,234", "1.234", "1234"),
        ("1.234", "1234", "1.234"),
        ("0,123", "0.123", None),
        ("1.234,5", "1234.5", None),
        ("1,234.5", None, "1234.5"),
        ("1 234,5", "1234.5", None),
        ("1\u202f234,5", "1234.5", None),
        ("1'234.5", None, "1234.5"),
        ("1.234.567", "1234567", None),
        ("\u22123,5", "-3.5", None),
        ("1,2e3", "1200", None),
        ("12,34,56", None, None),
        ("1234,567", "1234.567", None),
        ("1,", None, None),
        ("", None, None),
        ("gel", None, None),
        ("٣", None, None),
        ("1_000", None, None),
        ("nan", None, None),
        ("1e999", None, None),
    ],
)
def test_a_number_reads_by_its_decimal_mark(text: str, by_comma: str | None, by_point: str | None) -> None:
    wanted = [None if each is None else Decimal(each) for each in (by_comma, by_point)]
    assert [parse_number(text, mark) for mark in (COMMA, POINT)] == wanted


@pytest.mark.parametrize(
    ("text", "day_first", "month_first"),
    [
        ("2025-03-04", "2025-03-04", "2025-03-04"),
        ("2025/03/04 9:00", "2025-03-04T09:00:00", "2025-03-04T09:00:00"),
        ("03/04/2025", "2025-04-03", "2025-03-04"),
        ("25/03/2025", "2025-03-25", None),
        ("03/25/2025 2:15 PM", None, "2025-03-25T14:15:00"),
        ("04.03.2025", "2025-03-04", "2025-03-04"),
        ("4.3.25 10:30", "2025-03-04T10:30:00", "2025-03-04T10:30:00"),
        ("04.03.2025, 10:00 Uhr", "2025-03-04T10:00:00", "2025-03-04T10:00:00"),
        ("4. März 2025", "2025-03-04", "2025-03-04"),
        ("4 mars 2025 10h30", "2025-03-04T10:30:00", "2025-03-04T10:30:00"),
        ("04-Mar-2025", "2025-03-04", "2025-03-04"),
        ("Mar 4, 2025", "2025-03-04", "2025-03-04"),
        ("1 août 2025", "2025-08-01", "2025-08-01"),
        ("25-03-04", None, None),  # nobody can tell the year
        ("31.02.2025", None, None),
        ("45720", None, None),  # the number that a workbook keeps for a date
        ("2025-13-04", None, None),
        ("KW 12", None, None),
    ],
)
def test_a_date_reads_by_its_order(text: str, day_first: str | None, month_first: str | None) -> None:
    found = [parse_date(text, order) for order in Dates]
    assert [day and day.isoformat() for day in found] == [day_first, month_first]


@pytest.mark.parametrize(
    ("text", "clock"),
    [
        ("10:00", time(10)),
        ("9h", time(9)),
        ("9h05", time(9, 5)),
        ("12:30 am", time(0, 30)),
        ("2 pm", time(14)),
        ("25:00", None),
        ("10", None),
        ("noon", None),
        ("13 pm", None),
    ],
)
def test_a_time_of_the_day(text: str, clock: time | None) -> None:
    assert parse_clock(text) == clock


def test_cells_prove_one_way_the_other_or_neither() -> None:
    def ways(*cells: str) -> tuple[str | None, str | None, str | None]:
        found = evidence(cells, lambda c: parse_number(c, COMMA), lambda c: parse_number(c, POINT))
        return found.first, found.second, found.open

    assert ways("398", "7") == (None, None, None)
    assert ways("1,234", "398") == (None, None, "1,234")
    assert ways("1,234", "2,5") == ("2,5", None, "1,234")
    assert ways("2,5", "2.5") == ("2,5", "2.5", None)


@pytest.mark.parametrize(
    ("target", "head", "unit"),
    [
        ("viscosity_mpas", "Viskosität (Pa·s)", "Pa·s"),
        ("viscosity_mpas", "visc mPas", "mPa·s"),
        ("viscosity_mpas", "Viscosity [cps]", "cP"),
        ("viscosity_mpas", "viscosité en mm²/s", "mm²/s"),
        ("viscosity_mpas", "viscosity", None),
        ("temperature_c", "T / °C", "°C"),
        ("temperature_c", "Temp (F)", "°F"),
        ("density_g_ml", "Dichte [g/cm³]", "g/mL"),
        ("mass_g", "Gewicht in kg", "kg"),
    ],
)
def test_a_head_says_its_unit(target: str, head: str, unit: str | None) -> None:
    found = unit_in(target, head)
    assert (found.name if found else None) == unit


@pytest.mark.parametrize(
    ("target", "unit", "value", "ours"),
    [
        ("viscosity_mpas", "Pa·s", "0.398", "398"),
        ("viscosity_mpas", "P", "3.98", "398"),
        ("viscosity_mpas", "cP", "398", "398"),
        ("temperature_c", "°F", "73.4", "23"),
        ("temperature_c", "K", "296.15", "23"),
        ("density_g_ml", "kg/m³", "985", "0.985"),
        ("dry_through_h", "min", "90", "1.5"),
        ("film_um", "mil", "2", "50.8"),
    ],
)
def test_a_unit_is_turned_into_ours_without_digits_of_its_own(
    target: str, unit: str, value: str, ours: str
) -> None:
    found = unit_named(target, unit)
    assert found is not None
    assert converted(Decimal(value), found) == Decimal(ours)


def test_every_spelling_names_its_own_unit() -> None:
    for target, units in QUANTITIES.items():
        for unit in units:
            assert {unit_named(target, spelling) for spelling in unit.spellings} == {unit}, target


@pytest.mark.parametrize(
    ("head", "age"),
    [
        ("day 7", ("7", "days")),
        ("Tag 14", ("14", "days")),
        ("J+7", ("7", "days")),
        ("7 d", ("7", "days")),
        ("Woche 4", ("4", "weeks")),
        ("W0", ("0", "weeks")),
        ("semaine 2", ("2", "weeks")),
        ("28", ("28", None)),
        ("T7", ("7", None)),
        ("KW 12", None),
        ("2025", None),
        ("Viskosität", None),
    ],
)
def test_a_head_that_is_an_age(head: str, age: tuple[str, str | None] | None) -> None:
    assert age_in(head) == (None if age is None else (Decimal(age[0]), age[1]))


def test_two_heads_that_are_equally_like_are_neither() -> None:
    assert (
        "viscosity_mpas" not in likeliest("readings", ["Tin", "Date", "Visc 1 [cP]", "Visc 2 [cP]"]).values()
    )


@pytest.mark.parametrize(
    "text", ["viscosity", "viscosity_mpas in kg", "sample in g", "viscosity_mpas in furlongs"]
)
def test_a_target_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        target_of("readings", text)


plain = st.text(st.characters(blacklist_categories=["Cs"]), min_size=1, max_size=12)
ways_read = st.builds(
    SheetMap,
    columns=st.dictionaries(
        plain, st.sampled_from([Target("-"), Target("note"), Target("sample")]), max_size=1
    ),
    decimal=st.sampled_from([None, *DecimalMark]),
    dates=st.sampled_from([None, *Dates]),
    time_of_day=st.sampled_from([None, "10:00"]),
    words=st.dictionaries(plain, st.sampled_from(["nothing", "grade 4"]), max_size=3),
    constants=st.dictionaries(st.just("operator"), plain, max_size=1),
    across=st.sampled_from([None, *Across]),
    values=st.sampled_from([None, Target("viscosity_mpas", "cP")]),
    sheet=st.none() | plain,
)


@given(ways_read)
def test_a_mapping_is_read_back_as_it_was_kept(
    tmp_path_factory: pytest.TempPathFactory, made: SheetMap
) -> None:
    folder = tmp_path_factory.mktemp("maps")
    save_map(folder, "round", made)
    assert load_map(folder, "round") == made


@pytest.mark.parametrize(
    "text",
    [
        "table = 'nothing'",
        "decimal = 'dot'",
        "columns = 3",
        "strange = 1",
        "[columns]\na = 'b'",
        "=",
        "words = ['a']",
    ],
)
def test_a_mapping_that_was_spoilt_is_refused_with_its_path(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    folder = tmp_path_factory.mktemp("maps")
    path = save_map(folder, "round", SheetMap())
    path.write_text(text)
    with pytest.raises(InputError, match=r"round\.toml"):
        load_map(folder, "round")


@pytest.mark.parametrize("name", ["../round", "a/b", "", ".", "x" * 61, "a\x00"])
def test_a_name_that_leads_elsewhere_is_refused(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    with pytest.raises(InputError):
        load_map(tmp_path_factory.mktemp("maps"), name)


@given(st.text(max_size=40))
def test_no_text_makes_a_reader_fail(text: str) -> None:
    for mark in DecimalMark:
        parse_number(text, mark)
    for order in Dates:
        parse_date(text, order)
    parse_clock(text)
    age_in(text)
    for target in QUANTITIES:
        unit_in(target, text)
    likeliest("readings", [text])
