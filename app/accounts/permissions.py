"""Who may do what: one table, role by action."""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Final

from app.core.refusals import Forbidden


class Role(StrEnum):
    """What a person does in the plant; one person can hold several."""

    OPERATOR = "operator"
    ENGINEER = "engineer"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


class Action(StrEnum):
    """What a route can ask for."""

    READ = "read"
    OWN_ACCOUNT = "own account"
    ACCOUNTS_MANAGE = "manage accounts"
    BENCHES_MANAGE = "manage benches"
    PARTS_EDIT = "edit parts"
    ASSEMBLIES_EDIT = "edit assemblies"
    BOARDS_REGISTER = "register boards"
    RECIPES_WRITE = "write recipes"
    RECIPES_APPROVE = "approve recipes"
    RECIPES_RETIRE = "retire recipes"
    JOBS_OPEN = "open jobs"
    JOBS_WORK = "work on jobs"
    JOBS_CLOSE = "close jobs"
    HOLDS_PLACE = "place holds"
    HOLDS_LIFT = "lift holds"
    AUDIT_READ = "read the audit trail"
    AUDIT_VERIFY = "verify the log"
    HISTORY_EXPORT = "export histories"


_EVERYBODY: Final = frozenset(Role)
_SHOP: Final = frozenset({Role.OPERATOR, Role.ENGINEER})
_ENGINEER: Final = frozenset({Role.ENGINEER})
_ADMINISTRATOR: Final = frozenset({Role.ADMINISTRATOR})

ROLES_OF_ACTION: Final[Mapping[Action, frozenset[Role]]] = {
    Action.READ: _EVERYBODY,
    Action.OWN_ACCOUNT: _EVERYBODY,
    Action.ACCOUNTS_MANAGE: _ADMINISTRATOR,
    Action.BENCHES_MANAGE: _ADMINISTRATOR,
    Action.PARTS_EDIT: _ENGINEER,
    Action.ASSEMBLIES_EDIT: _ENGINEER,
    Action.BOARDS_REGISTER: _SHOP,
    Action.RECIPES_WRITE: _ENGINEER,
    Action.RECIPES_APPROVE: _ENGINEER,
    Action.RECIPES_RETIRE: _ENGINEER,
    Action.JOBS_OPEN: _SHOP,
    Action.JOBS_WORK: _SHOP,
    Action.JOBS_CLOSE: _SHOP,
    Action.HOLDS_PLACE: _SHOP,
    Action.HOLDS_LIFT: _ENGINEER,
    Action.AUDIT_READ: _EVERYBODY - {Role.OPERATOR},
    Action.AUDIT_VERIFY: _EVERYBODY - {Role.OPERATOR},
    Action.HISTORY_EXPORT: _EVERYBODY,
}


class NotPermitted(Forbidden):
    """None of the person's roles has the permission."""

    code = "accounts.not_permitted"


def is_permitted(roles: Iterable[Role], action: Action) -> bool:
    """Say whether one of the roles has the permission."""
    return not ROLES_OF_ACTION[action].isdisjoint(roles)


def check_permitted(roles: Iterable[Role], action: Action) -> None:
    """Refuse with NotPermitted unless one of the roles has the permission."""
    if not is_permitted(roles, action):
        who = " or ".join(sorted(ROLES_OF_ACTION[action]))
        raise NotPermitted(f"To {action} takes the role {who}; ask an administrator.")
