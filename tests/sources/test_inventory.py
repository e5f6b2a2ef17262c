"""The forms of the inventory. All rows here are INVENTED: no such bridge stands anywhere."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.errors import InputError, UsageError
from clearance.core.inventory import HeightState, InventoryRecord
from clearance.core.lengths import Length
from clearance.sources import inventory
from clearance.sources.inventory import (
    Inventory,
    RowProblem,
    inventory_rows,
    inventory_year,
    read_inventory,
    read_inventory_at,
)

GUIDE = Path(__file__).resolve().parents[3] / "shared" / "standards" / "FHWA-PD-96-001.pdf"

#: Item -> (column of the delimited files, first and last position of the fixed form: Appendix E).
ITEMS: dict[str, tuple[str, int, int]] = {
    "1": ("STATE_CODE_001", 1, 3),
    "8": ("STRUCTURE_NUMBER_008", 4, 18),
    "5A": ("RECORD_TYPE_005A", 19, 19),
    "5E": ("DIRECTION_005E", 27, 27),
    "6A": ("FEATURES_DESC_006A", 38, 61),
    "7": ("FACILITY_CARRIED_007", 63, 80),
    "9": ("LOCATION_009", 81, 105),
    "10": ("MIN_VERT_CLR_010", 106, 109),
    "16": ("LAT_016", 130, 137),
    "17": ("LONG_017", 138, 146),
    "28A": ("TRAFFIC_LANES_ON_028A", 161, 162),
    "28B": ("TRAFFIC_LANES_UND_028B", 163, 164),
    "34": ("DEGREES_SKEW_034", 181, 182),
    "42A": ("SERVICE_ON_042A", 200, 200),
    "42B": ("SERVICE_UND_042B", 201, 201),
    "43B": ("STRUCTURE_TYPE_043B", 203, 204),
    "53": ("VERT_CLR_OVER_MT_053", 243, 246),
    "54A": ("VERT_CLR_UND_REF_054A", 247, 247),
    "54B": ("VERT_CLR_UND_054B", 248, 251),
    "90": ("DATE_OF_INSPECT_090", 287, 290),
    "101": ("PARALLEL_STRUCTURE_101", 357, 357),
    "102": ("TRAFFIC_DIRECTION_102", 358, 358),
}

#: An invented overpass, coded as the fixed form codes it.
OVERPASS = {
    "1": "231",
    "8": "000000000000042",
    "5A": "1",
    "5E": "0",
    "6A": "I 95, MILL ROAD",
    "7": "HEATHER STREET",
    "9": "0.5 MI N OF NOWHERE",
    "10": "9999",
    "16": "44480432",
    "17": "068461644",
    "28A": "02",
    "28B": "04",
    "34": "10",
    "42A": "1",
    "42B": "1",
    "43B": "02",
    "53": "9999",
    "54A": "H",
    "54B": "0452",
    "90": "0623",
    "101": "N",
    "102": "2",
}


def fixed(values: Mapping[str, str]) -> str:
    """One record of 432 characters."""
    row = [" "] * 432
    for item, text in (OVERPASS | dict(values)).items():
        _, first, last = ITEMS[item]
        row[first - 1 : last] = text.ljust(last - first + 1)
    assert len(row) == 432
    return "".join(row)


def delimited(values: Mapping[str, str]) -> str:
    """One row as the yearly files write it: texts quoted and padded, heights with a point."""
    cells = []
    for item, text in (OVERPASS | dict(values)).items():
        if item in ("10", "53", "54B") and re.fullmatch(r"\d{4}", text):
            cells.append(f"{int(text) / 100}")
        elif item in ("8", "5A", "6A", "7", "9", "54A", "101"):
            cells.append(f"'{text:<18}'")
        else:
            cells.append(text)
    return ",".join(cells)


HEADER = ",".join(ITEMS[item][0] for item in OVERPASS)


def write(path: Path, *rows: str) -> Path:
    path.write_text("\n".join([*rows, ""]), encoding="utf-8")
    return path


def read(folder: Path, *rows: str, name: str = "ME24.txt") -> Inventory:
    return read_inventory(write(folder / name, *rows))


@cache
def appendix_e() -> str:
    from pypdf import PdfReader

    pages = PdfReader(GUIDE).pages[-5:]
    return "\n".join(page.extract_text() for page in pages)


@pytest.mark.skipif(not GUIDE.is_file(), reason="../shared/standards is not here")
@pytest.mark.parametrize("item", ITEMS)
def test_positions_are_those_of_appendix_e(item: str) -> None:
    """The record layout as the guide prints it, pages E-1 to E-4."""
    _, first, last = ITEMS[item]
    positions = str(first) if first == last else rf"{first}\s*-\s*{last}"
    length = last - first + 1
    assert re.search(rf"^\s*{item}\s.*?{positions}\s+{length}/", appendix_e(), re.MULTILINE), item


def test_both_forms_of_1995_give_the_same_record(tmp_path: Path) -> None:
    of_text = read(tmp_path, HEADER, delimited({}))
    of_positions = read(tmp_path, fixed({}))
    (one,), (other,) = of_text.records, of_positions.records
    assert of_text.problems == of_positions.problems == ()
    assert one.line == 2
    assert other.line == 1
    for name in InventoryRecord.__slots__:
        if name not in ("line", "item_10", "item_53", "item_54"):
            assert getattr(one, name) == getattr(other, name), name
    for item in ("item_10", "item_53", "item_54"):
        told, same = getattr(one, item), getattr(other, item)
        assert (told.state, told.figure) == (same.state, same.figure)
    assert one.item_54.figure == Length.from_metres("4.52")
    assert one.item_54.raw == "H 4.52"
    assert other.item_54.raw == "H 0452"
    assert one.item_10.state is one.item_53.state is HeightState.UNRESTRICTED
    assert (one.number, one.state, one.record_type, one.on_structure) == ("000000000000042", "231", "1", True)
    assert (one.features, one.carried) == ("I 95, MILL ROAD", "HEATHER STREET")
    assert (one.service_on, one.service_under, one.lanes_on, one.lanes_under) == ("1", "1", 2, 4)
    assert (one.skew_deg, one.design, one.parallel, one.traffic) == (10, "02", "N", "2")
    assert (one.source, one.date) == ("National Bridge Inventory 2024", "2023-06")
    assert [one.lon, one.lat] == pytest.approx([-68.7712333, 44.8012], abs=1e-6)


def test_rows_that_have_no_place_are_listed_and_not_lost(tmp_path: Path) -> None:
    rows = [
        delimited({"16": "00000000"}),
        delimited({"16": "44486000"}),
        delimited({"17": "06846164x"}),
        delimited({"5A": "9"}),
        delimited({"8": ""}),
        delimited({}),
        delimited({}) + ",one,more",
    ]
    found = read(tmp_path, HEADER, *rows)
    assert [r.line for r in found.records] == [7]
    assert [p.line for p in found.problems] == [2, 3, 4, 5, 6, 8]
    assert all(p.dropped for p in found.problems)
    assert found.rows == 7
    text = str(found.problems[0])
    assert "line 2" in text
    assert "000000000000042" in text
    assert "'00000000'" in text


def test_an_item_that_cannot_be_read_is_listed_and_its_row_kept(tmp_path: Path) -> None:
    found = read(tmp_path, HEADER, delimited({"54B": "4m52", "28A": "two"}), delimited({"54A": "Q"}))
    assert [r.line for r in found.records] == [2, 3]
    assert {r.item_54.state for r in found.records} == {HeightState.UNREADABLE}
    assert all(r.item_54.figure is None for r in found.records)
    assert [(p.line, p.dropped) for p in found.problems] == [(2, False), (2, False), (3, False)]
    assert "4m52" in str(found.problems[0])
    assert found.rows == 2


def test_every_special_code_of_item_54(tmp_path: Path) -> None:
    codes = {
        ("N", "0000"): HeightState.NOT_A_ROAD,
        ("R", "0952"): HeightState.RAILWAY,
        ("H", "0000"): HeightState.MISSING,
        ("H", "9999"): HeightState.UNRESTRICTED,
        ("", ""): HeightState.MISSING,
        ("H", "1046"): HeightState.FIGURE,
    }
    for line in (delimited, fixed):
        rows = [line({"54A": a, "54B": b}) for a, b in codes]
        found = read(tmp_path, *([HEADER] if line is delimited else []), *rows)
        assert [r.item_54.state for r in found.records] == list(codes.values())


def test_under_records_need_not_have_the_other_items(tmp_path: Path) -> None:
    """Item 5A: codes 2 and A to Z are routes under the structure; Items 53, 54 and 90 may be blank."""
    blank = {"53": "", "54A": "", "54B": "", "90": "", "43B": "18", "10": "0411"}
    found = read(tmp_path, fixed(blank | {"5A": "2"}), fixed(blank | {"5A": "B"}))
    assert [r.record_type for r in found.records] == ["2", "B"]
    assert not any(r.on_structure for r in found.records)
    assert {r.item_10.figure for r in found.records} == {Length.from_metres("4.11")}
    assert {r.date for r in found.records} == {"2024"}
    assert found.problems == ()


def test_an_apostrophe_in_a_name_spoils_nothing_but_its_own_row(tmp_path: Path) -> None:
    """A quote left open must not swallow the rows below it."""
    open_quote = delimited({}).replace("'HEATHER STREET", "'O'HEATHER STREET, OLD")
    kept = delimited({"7": "O'HEATHER ST"})
    found = read(tmp_path, HEADER, open_quote, kept, delimited({}))
    assert [r.line for r in found.records] == [3, 4]
    assert found.records[0].carried == "OHEATHER ST"
    assert [p.line for p in found.problems] == [2]


def test_double_quotes_and_other_separators_do_too(tmp_path: Path) -> None:
    row = delimited({}).replace("'", '"')
    assert read(tmp_path, HEADER, row).records[0].features == "I 95, MILL ROAD"
    bars = delimited({"6A": "I 95"}).replace(",", "|")
    assert read(tmp_path, HEADER.replace(",", "|"), bars).records[0].carried == "HEATHER STREET"


def test_a_box_leaves_out_what_lies_outside_and_still_lists_what_has_no_place(tmp_path: Path) -> None:
    path = write(
        tmp_path / "x.txt",
        HEADER,
        delimited({}),
        delimited({"16": "35271855", "17": "081055065"}),
        delimited({"16": "0"}),
    )
    found = read_inventory(path, year=2019, box=(-69, 44, -68, 45))
    assert (len(found.records), found.outside, len(found.problems), found.rows) == (1, 1, 1, 3)
    assert found.source == "National Bridge Inventory 2019"
    with pytest.raises(UsageError, match="box"):
        read_inventory(path, box=(-68, 44, -69, 45))


@pytest.mark.parametrize(
    ("name", "year"),
    [
        ("ME24.txt", 2024),
        ("ME92.txt", 1992),
        ("2019AllStates.zip", 2019),
        ("hwybronefiledel2023.csv", 2023),
        ("bridges.txt", None),
        ("nbi_20245.txt", None),
    ],
)
def test_the_year_in_the_name(name: str, year: int | None) -> None:
    assert inventory_year(name) == year


def test_a_zip_of_several_files(tmp_path: Path) -> None:
    path = tmp_path / "2024.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("ME24.txt", f"{HEADER}\n{delimited({})}\n")
        archive.writestr("NH24.txt", f"{HEADER}\n{delimited({'16': ''})}\n")
        archive.writestr("readme.pdf", b"no text")
    found = read_inventory(path)
    assert len(found.records) == 1
    assert [str(p).startswith("NH24.txt, line 2") for p in found.problems] == [True]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "empty"),
        ("\n\n", "blank lines"),
        ("name,lat,lon\na,1,2\n", "neither a header"),
        ("x" * 400 + "\n", "before 1995"),
        ("STRUCTURE_NUMBER_008,LAT_016\n1,2\n", "no column RECORD_TYPE_005A"),
        (HEADER + ",LAT_016\n", "two columns"),
        ("BID01,BH12,BH13\n1,2,3\n", "no column BL05"),
        ("y" * 30_000, "longer than"),
    ],
)
def test_files_that_are_no_inventory(tmp_path: Path, content: str, said: str) -> None:
    path = tmp_path / "x.txt"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        read_inventory(path)
    assert str(path) in str(caught.value)


def test_damaged_and_locked_zips(tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.bin", b"")
    with pytest.raises(InputError, match=r"no \.txt"):
        read_inventory(path)
    path.write_bytes(path.read_bytes()[:20])
    with pytest.raises(InputError, match="damaged zip"):
        read_inventory(path)
    with pytest.raises(InputError, match="no such file"):
        read_inventory_at(str(tmp_path / "absent.txt"))


def test_the_form_of_2022_has_feet_and_one_row_for_each_highway(tmp_path: Path) -> None:
    """B.H.13 of a road beneath is what Item 54 was, of the road carried what Item 53 was."""
    found = read(
        tmp_path,
        "B.ID.01,B.L.05,B.L.06,B.F.01,B.F.02,B.F.03,B.H.12,B.H.13",
        "77,44.8012,-68.7712,H01,C,HEATHER ST,99.9,13.5",
        "77,44.8012,-68.7712,H02,B,MILL ROAD,14.9,14.3",
        "77,44.8012,-68.7712,W01,B,OLD BROOK,,",
        "77,44.8012,-68.7712,H02,X,MILL ROAD,14.9,14.3",
    )
    carried, below, water = found.records
    assert carried.on_structure
    assert (carried.item_53.figure, carried.carried) == (Length.from_feet(13, 6), "HEATHER ST")
    assert carried.item_10.state is HeightState.UNRESTRICTED
    assert (below.record_type, below.features, below.edition) == ("2", "MILL ROAD", 2022)
    assert below.item_54.figure == Length(43586)  # 14.3 ft = 4.35864 m
    assert below.item_10.figure == Length(45415)  # 14.9 ft = 4.54152 m
    assert water.item_54.state is HeightState.MISSING
    assert [p.line for p in found.problems] == [5]


def test_rows_come_one_after_another(tmp_path: Path) -> None:
    path = write(tmp_path / "ME24.txt", HEADER, *[delimited({})] * 3)
    told: list[tuple[str, int, int]] = []
    rows = inventory_rows(path, progress=lambda what, done, total: told.append((what, done, total)))
    first = next(rows)
    assert isinstance(first, InventoryRecord)
    assert len(list(rows)) == 2
    assert told == []


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\n\r"), max_size=450))
def test_any_line_is_a_record_or_a_problem(tmp_path_factory: pytest.TempPathFactory, line: str) -> None:
    folder = tmp_path_factory.getbasetemp()
    for head in (HEADER, fixed({})):
        found = read(folder, head, line, fixed({}) if head != HEADER else delimited({}))
        expected = 1 if head == HEADER else 2
        assert len(found.records) + sum(p.dropped for p in found.problems) >= expected
        assert all(isinstance(p, RowProblem) and str(p) for p in found.problems)
        assert found.records[-1].item_54.figure == Length.from_metres("4.52")


def test_read_at_a_name(tmp_path: Path) -> None:
    path = write(tmp_path / "ME24.txt", HEADER, delimited({}))
    assert read_inventory_at(str(path), year=2020).source == "National Bridge Inventory 2020"


def test_a_zip_that_unfolds_without_end_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "ME24.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("a.txt", "w") as member:
        for _ in range(70):
            member.write(b"x\n" * (1 << 19))
    assert path.stat().st_size < 200_000
    with pytest.raises(InputError, match=r"ME24\.zip: unpacks to more than"):
        read_inventory(path)


def test_blank_lines_and_rows_with_faults_have_an_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert len(read(tmp_path, HEADER, *[""] * 10_000, delimited({})).records) == 1
    with pytest.raises(InputError, match="more than 10,000 blank lines"):
        read(tmp_path, HEADER, *[""] * 10_001, delimited({}))
    monkeypatch.setattr(inventory, "_MOST_ROWS", 20)
    assert len(read(tmp_path, HEADER, *["x"] * 19, delimited({})).problems) == 19
    with pytest.raises(InputError, match="more than 20 rows to keep, 20 of them with faults"):
        read(tmp_path, HEADER, *["x"] * 20, delimited({}))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"\x00\x08", b"\x00\x08", ""),
        ("b\u00fc.txt".encode(), b"b\xff\xfe.txt", "is a damaged zip file"),
        (b"PK\x01\x02", b"PK\x01\x03", "is a damaged zip file"),
    ],
)
def test_a_zip_with_false_names_is_damaged(tmp_path: Path, old: bytes, new: bytes, said: str) -> None:
    path = tmp_path / "ME24.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("b\u00fc.txt", "\n".join([HEADER, delimited({}), ""]))
    path.write_bytes(path.read_bytes().replace(old, new))
    if not said:
        assert len(read_inventory(path).records) == 1
        return
    with pytest.raises(InputError, match=said):
        read_inventory(path)


def test_a_zip_with_a_nameless_member_is_read(tmp_path: Path) -> None:
    path = tmp_path / "ME24.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.txt", "\n".join([HEADER, delimited({}), ""]))
        archive.writestr("x", "x")
        archive.filelist[1].filename = ""
    assert len(read_inventory(path).records) == 1


@pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_zip_packed_otherwise_is_to_be_unpacked_first(tmp_path: Path, packing: int) -> None:
    path = tmp_path / "ME24.zip"
    with zipfile.ZipFile(path, "w", packing) as archive:
        archive.writestr("a.txt", "\n".join([HEADER, delimited({}), ""]))
    with pytest.raises(InputError, match=r"ME24\.zip: is packed in a way that is not read; unpack it first"):
        read_inventory(path)
