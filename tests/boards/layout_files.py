"""Small layout files of an invented board, in the shapes that layout programs write."""

PLACEMENT = b"""Ref,Val,Package,PosX,PosY,Rot,Side
"C1","100nF","C_0402_1005Metric",10.5,20.25,90,top
"U1","VRYLO","BGA-100_11.0x11.0mm",30,25,0,top
"R2","10k","R_0402_1005Metric",12,8,180,bottom
"""

BILL = b"""Reference,Qty,Value,Footprint,MPN
"C1, R2",2,mixed,,CHIP-1
U1,1,VRYLO,BGA-100_11.0x11.0mm,VRYLO-B100
U3,1,PLIQUA,CSP-49_4.0x4.0mm,PLIQUA-C49
"""

# U1 moved, R2 gone, C9 new, and one line that no choice can make readable.
CORRECTED = b"""Ref,Val,Package,PosX,PosY,Rot,Side
"C1","100nF","C_0402_1005Metric",10.5,20.25,180,top
"U1","VRYLO","BGA-100_11.0x11.0mm",31,25,0,top
"C9","1uF","C_0402_1005Metric",5,5,0,top
"C8","1uF","C_0402_1005Metric",5,here,0,top
"""

PNG = b"\x89PNG\r\n\x1a\n" + bytes(64)
ASSEMBLY = {
    "part_number": "BRELNA-120",
    "revision": "A",
    "title": "Level logger main board",
    "length_mm": 60,
    "width_mm": 40,
    "thickness_mm": 1.6,
    "layers": 6,
    "alloy": "SAC305",
    "finish": "ENIG",
}
