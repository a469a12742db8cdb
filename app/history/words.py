"""The log's actions in the words of the bench."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.history.rules import EventKind


@dataclass(frozen=True)
class ActionWords:
    """What an action is called, and the kind of line it makes in a board's history."""

    words: str
    kind: EventKind = EventKind.OTHER


WORDS: Final[Mapping[str, ActionWords]] = {
    "boards.register": ActionWords("Board registered", EventKind.BOARD),
    "boards.edit_board": ActionWords("Board's note changed", EventKind.BOARD),
    "boards.add_assembly": ActionWords("Assembly added"),
    "boards.edit_assembly": ActionWords("Assembly changed"),
    "boards.add_revision": ActionWords("Assembly revision added"),
    "boards.start_layout": ActionWords("Layout files brought in"),
    "boards.put_layout_file": ActionWords("Layout file replaced"),
    "boards.choose_reading": ActionWords("Reading of a layout file chosen"),
    "boards.drop_layout": ActionWords("Layout files dropped"),
    "boards.take_layout": ActionWords("Layout taken over"),
    "boards.link_part": ActionWords("Part linked to a designator"),
    "boards.link_parts": ActionWords("Parts linked to designators"),
    "jobs.open": ActionWords("Job opened", EventKind.JOB),
    "jobs.clear": ActionWords("Job cleared for heat", EventKind.CLEARANCE),
    "jobs.close": ActionWords("Job closed", EventKind.JOB),
    "jobs.hold": ActionWords("Hold placed", EventKind.HOLD),
    "jobs.lift_hold": ActionWords("Hold lifted", EventKind.HOLD),
    "jobs.sign_step": ActionWords("Step signed", EventKind.STEP),
    "jobs.skip_step": ActionWords("Step skipped", EventKind.SKIP),
    "jobs.correct_entry": ActionWords("Entry corrected", EventKind.CORRECTION),
    "jobs.start_run": ActionWords("Run started", EventKind.RUN),
    "jobs.complete_run": ActionWords("Run complete", EventKind.RUN),
    "jobs.abort_run": ActionWords("Run aborted", EventKind.RUN),
    "jobs.set_aside_run": ActionWords("Run set aside", EventKind.RUN),
    "recipes.create": ActionWords("Recipe begun"),
    "recipes.copy": ActionWords("Recipe revision begun as a copy"),
    "recipes.save_draft": ActionWords("Recipe draft saved"),
    "recipes.discard": ActionWords("Recipe draft discarded"),
    "recipes.propose": ActionWords("Recipe revision proposed"),
    "recipes.withdraw": ActionWords("Recipe proposal withdrawn"),
    "recipes.send_back": ActionWords("Recipe proposal sent back"),
    "recipes.publish": ActionWords("Recipe revision published"),
    "recipes.retire": ActionWords("Recipe revision retired"),
    "recipes.supersede": ActionWords("Recipe revision superseded"),
    "windows.create": ActionWords("Window begun"),
    "windows.copy": ActionWords("Window version begun as a copy"),
    "windows.save_draft": ActionWords("Window draft saved"),
    "windows.discard": ActionWords("Window draft discarded"),
    "windows.propose": ActionWords("Window version proposed"),
    "windows.withdraw": ActionWords("Window proposal withdrawn"),
    "windows.send_back": ActionWords("Window proposal sent back"),
    "windows.publish": ActionWords("Window version published"),
    "windows.retire": ActionWords("Window version retired"),
    "windows.supersede": ActionWords("Window version superseded"),
    "windows.put": ActionWords("Window put into a recipe"),
    "materials.add_part": ActionWords("Part added"),
    "materials.edit_part": ActionWords("Part changed"),
    "plant.add_bench": ActionWords("Bench added"),
    "plant.edit_bench": ActionWords("Bench changed"),
    "plant.describe_chain": ActionWords("Measuring chain of a bench changed"),
    "plant.retire_bench": ActionWords("Bench taken out of use"),
    "plant.reinstate_bench": ActionWords("Bench taken into use again"),
    "accounts.add": ActionWords("Account added"),
    "accounts.rename": ActionWords("Account renamed"),
    "accounts.change_roles": ActionWords("Roles changed"),
    "accounts.disable": ActionWords("Account disabled"),
    "accounts.enable": ActionWords("Account enabled"),
    "accounts.reset_password": ActionWords("Password reset"),
    "accounts.change_password": ActionWords("Own password changed"),
    "accounts.end_session": ActionWords("Sign-in ended from another one"),
    "accounts.add_token": ActionWords("Token for programs made"),
    "accounts.revoke_token": ActionWords("Token revoked"),
    "accounts.sign_in": ActionWords("Signed in"),
    "accounts.sign_in_failed": ActionWords("Sign-in failed"),
    "accounts.sign_out": ActionWords("Signed out"),
}


def spell_action(action: str) -> str:
    """Spell an action in words; an unknown one as its own name."""
    known = WORDS.get(action)
    return known.words if known else action


def get_kind(action: str) -> EventKind:
    """Return the kind of line that an action makes in a board's history."""
    known = WORDS.get(action)
    return known.kind if known else EventKind.OTHER
