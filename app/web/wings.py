"""Finds a feature by the first word of the address, before its routes are asked one by one."""

from fastapi import APIRouter
from fastapi.routing import iter_route_contexts
from starlette.routing import Match
from starlette.types import Scope


class Wing(APIRouter):
    """One feature's routes; an address that begins like none of them passes by at once.

    Routes are asked in turn, and the last feature would pay for all before it.
    """

    def __init__(self, feature: APIRouter, *, prefix: str = "") -> None:
        super().__init__()
        self.include_router(feature)
        self.place = prefix.count("/") + 1
        paths = (context.path or "" for context in iter_route_contexts(feature.routes))
        self.heads = frozenset(path.split("/")[1] for path in paths)
        self.takes_any = any(head.startswith("{") for head in self.heads)

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Ask the routes only when the address begins like one of them."""
        steps = scope.get("path", "").split("/", self.place + 1)
        head = steps[self.place] if len(steps) > self.place else ""
        if head in self.heads or self.takes_any:
            return super().matches(scope)
        return Match.NONE, {}
