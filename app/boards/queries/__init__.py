"""Reads assemblies, layouts, boards and sites."""

from app.boards.queries.assemblies import (
    count_boards,
    find_assembly,
    get_assembly,
    list_assemblies,
    list_revisions,
    select_assemblies,
)
from app.boards.queries.boards import (
    find_boards,
    find_site,
    get_board,
    get_site,
    list_serials,
    list_sites,
    select_boards,
)
from app.boards.queries.layouts import (
    find_taken_draft,
    get_draft,
    list_open_drafts,
    read_preview,
)
from app.boards.queries.pictures import draw_side, find_body_mm
from app.boards.queries.placements import (
    find_placement,
    get_placement,
    get_placement_by_id,
    list_placements,
    select_placements,
)
from app.boards.queries.previews import LayoutPreview, ReadBill, ReadPlacement

__all__ = [
    "LayoutPreview",
    "ReadBill",
    "ReadPlacement",
    "count_boards",
    "draw_side",
    "find_assembly",
    "find_boards",
    "find_body_mm",
    "find_placement",
    "find_site",
    "find_taken_draft",
    "get_assembly",
    "get_board",
    "get_draft",
    "get_placement",
    "get_placement_by_id",
    "get_site",
    "list_assemblies",
    "list_open_drafts",
    "list_placements",
    "list_revisions",
    "list_serials",
    "list_sites",
    "read_preview",
    "select_assemblies",
    "select_boards",
    "select_placements",
]
