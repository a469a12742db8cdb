"""Thermocouples of a plan that no limit holds for, and the built-in windows that would."""

from dataclasses import dataclass
from typing import Final

from app.recipes.body.alloys import find_alloy
from app.recipes.body.recipe import RecipeBody
from app.recipes.windows.bodies import ADJACENT_BODIES
from app.recipes.windows.joints import list_adjacent_joint_windows, make_joint_window
from app.traces.rules import ChannelRole

_CLASSIFICATION: Final = {
    True: ("classification-snpb", "the tin-lead classification profile, by the body's size"),
    False: ("classification-pb-free", "the lead-free classification profile, by the body's size"),
}
_ADJACENT_WORDS: Final = "200 °C for bodies of neighbours"


@dataclass(frozen=True)
class BuiltInHint:
    """A built-in window that would hold, by its key."""

    key: str
    words: str


@dataclass(frozen=True)
class Unheld:
    """A channel of the plan that no limit holds for; `windows` may be empty."""

    channel: str
    sentence: str
    windows: tuple[BuiltInHint, ...]


def list_unheld(body: RecipeBody) -> tuple[Unheld, ...]:
    """List the channels of the plan that no limit holds for, in the plan's order."""
    held = {role for limit in body.window.limits for role in limit.roles}
    told = []
    for one in body.thermocouples:
        if one.role in held:
            continue
        where = f"{one.role.words} {one.designator}".strip()
        told.append(
            Unheld(
                one.channel,
                f"{one.channel} ({where}): no limit of this recipe holds for it.",
                _list_hints(one.role, body.window.alloy),
            )
        )
    return tuple(told)


def _list_hints(role: ChannelRole, alloy_name: str) -> tuple[BuiltInHint, ...]:
    alloy = find_alloy(alloy_name)
    if role is ChannelRole.BODY:
        return (BuiltInHint(*_CLASSIFICATION["Pb" in alloy_name]),)
    if role is ChannelRole.ADJACENT:
        bodies = BuiltInHint(ADJACENT_BODIES.key, _ADJACENT_WORDS)
        joints = {one.alloy: one for one in list_adjacent_joint_windows()}.get(
            "" if alloy is None else alloy.name
        )
        return (bodies,) if joints is None else (bodies, BuiltInHint(joints.key, joints.name))
    if role.is_joint and alloy is not None:
        window = make_joint_window(alloy)
        return () if window is None else (BuiltInHint(window.key, window.name),)
    return ()
