"""Changes assemblies, layouts and boards."""

from app.boards.service.assemblies import add_assembly, add_revision, edit_assembly
from app.boards.service.boards import edit_board, get_or_create_site, register_boards
from app.boards.service.drafts import (
    choose_bill_reading,
    choose_placement_reading,
    drop_draft,
    put_draft_files,
    start_draft,
)
from app.boards.service.layouts import take_layout
from app.boards.service.links import link_part, link_parts

__all__ = [
    "add_assembly",
    "add_revision",
    "choose_bill_reading",
    "choose_placement_reading",
    "drop_draft",
    "edit_assembly",
    "edit_board",
    "get_or_create_site",
    "link_part",
    "link_parts",
    "put_draft_files",
    "register_boards",
    "start_draft",
    "take_layout",
]
