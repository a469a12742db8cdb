"""The titles by which columns are known, the most telling first; common practice, no source."""

from collections.abc import Mapping
from typing import Final

from app.boards.files.choices import BillField, PlacementField

PLACEMENT_TITLES: Final[Mapping[PlacementField, tuple[str, ...]]] = {
    field: tuple(words.split())
    for field, words in {
        PlacementField.DESIGNATOR: (
            "designator refdes ref reference referencedesignator refdesignator references"
            " componentname component partname part name"
        ),
        PlacementField.X: (
            "midx xmid centerx centrex xcenter xcentre posx positionx xpos xposition locationx"
            " xlocation locx x xcoord xcoordinate coordx coordinatex refx padx"
        ),
        PlacementField.Y: (
            "midy ymid centery centrey ycenter ycentre posy positiony ypos yposition locationy"
            " ylocation locy y ycoord ycoordinate coordy coordinatey refy pady"
        ),
        PlacementField.ROTATION: "rotation rot angle orientation orient theta",
        PlacementField.SIDE: (
            "side layer layername boardside mountside mountingside tb topbottom toporbottom face"
        ),
        PlacementField.PACKAGE: (
            "package footprint packagename footprintname pattern pcbfootprint decal case"
            " housing land"
        ),
        PlacementField.VALUE: "value val comment partvalue componentvalue partnumber type",
    }.items()
}

BILL_TITLES: Final[Mapping[BillField, tuple[str, ...]]] = {
    field: tuple(words.split())
    for field, words in {
        BillField.DESIGNATORS: (
            "designators designator references reference referencess refdes refdesignators"
            " refdesignator referencedesignators referencedesignator refs ref components parts"
        ),
        BillField.QUANTITY: (
            "quantity qty qnty quantityperboard qtyperboard qtyperpcb quantityperpcb count amount"
            " pieces pcs"
        ),
        BillField.PART_NUMBER: (
            "mpn manufacturerpartnumber manufacturerpart manufacturerpn mfrpartnumber mfrpart"
            " mfrpn mfgpartnumber mfgpn partnumber partno pn orderingcode ordercode orderno"
            " internalpartnumber ipn sku"
        ),
        BillField.VALUE: "value val comment partvalue componentvalue",
        BillField.PACKAGE: (
            "footprint package pcbfootprint footprintname packagename pattern case housing land"
        ),
    }.items()
}
