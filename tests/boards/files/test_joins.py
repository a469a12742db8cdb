"""A placement and a bill joined: what each knows that the other does not."""

from app.boards.files import join_layout, read_bill_file, read_placement_file

TOP = b"""Ref,Val,Package,PosX,PosY,Rot,Side
C1,100nF,C_0402_1005Metric,10.5,20.2,90,top
U4,memory,BGA-96_9x13mm,30,15,180,top
X9,,Test_Pad,1,1,0,top
"""
BOTTOM = b"""Ref,Val,Package,PosX,PosY,Rot,Side
C2,100nF,C_0402_1005Metric,8,9,0,bottom
C1,100nF,C_0402_1005Metric,1,1,0,bottom
"""
BILL = b"""Qty,References,Value,Footprint,PN
3,"C1, C2, C10",100nF,Caps:C_0402_1005Metric,LAKE-C
1,U4,memory,Arrays:BGA-96_9x14mm,LAKE-U4
1,U3,logic,csBGA285,LAKE-U3
2,H1-H2,Hole,,DNP
"""


def test_each_part_has_what_both_files_say() -> None:
    join = join_layout(read_placement_file(TOP).lines, read_bill_file(BILL).lines)
    parts = {part.designator: part for part in join.parts}
    assert list(parts) == ["C1", "C2", "C10", "H1", "H2", "U3", "U4", "X9"]
    assert (parts["C1"].part_number, parts["C1"].value) == ("LAKE-C", "100nF")
    assert parts["U3"].placement is None
    assert parts["U3"].package == "csBGA285"
    assert parts["X9"].bill is None


def test_what_the_bill_names_and_the_placement_lacks_is_told_and_the_reverse() -> None:
    join = join_layout(read_placement_file(TOP).lines, read_bill_file(BILL).lines)
    assert join.not_placed == ("C2", "C10", "H1", "H2", "U3")
    assert join.not_billed == ("X9",)
    assert join.package_differs == ("U4",)
    assert join.value_differs == ()
    assert join.findings == (
        "The bill names 5 designators that the placement lacks: C2, C10, H1, H2, U3.",
        "Among them, by package name, 1 designator in an array package: U3.",
        "Of these the bill marks 2 designators as not fitted: H1, H2.",
        "The placement has 1 designator that the bill does not name: X9.",
        "The files give different packages for 1 designator: U4.",
    )


def test_two_placement_files_are_joined_and_what_both_name_is_told() -> None:
    lines = read_placement_file(TOP).lines + read_placement_file(BOTTOM).lines
    join = join_layout(lines, read_bill_file(BILL).lines)
    assert join.duplicates == ("C1",)
    assert next(part for part in join.parts if part.designator == "C1").placement == lines[0]
    assert "C2" not in join.not_placed


def test_files_that_agree_have_no_findings() -> None:
    bill = b"Refs,Value\nC1,100nF\nU4,memory\nX9,\n"
    assert join_layout(read_placement_file(TOP).lines, read_bill_file(bill).lines).findings == ()


def test_a_long_list_is_counted_not_dropped() -> None:
    bill = read_bill_file(b"Refs,Value\nR1-R30,1k\n")
    join = join_layout((), bill.lines)
    assert join.findings[0].endswith("R19, R20 and 10 more.")
    assert len(join.not_placed) == 30
