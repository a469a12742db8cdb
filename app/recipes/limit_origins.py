"""Whose a recipe's limits are: what a window left beside them stays, and nobody claims it."""

from collections.abc import Iterable

from app.recipes.body.recipe import RecipeBody
from app.recipes.body.window import Limit, Metric, TakenFrom
from app.traces.rules import ChannelRole


def carry_origins(before: RecipeBody | None, given: RecipeBody) -> RecipeBody:
    """Return the given body with the origins that the stored one's limits have.

    A limit goes on from the stored one of the same metric that holds for all its channels; what
    the given body says of origins itself does not count. None: nothing was stored.
    """
    stored = () if before is None else before.window.limits
    limits = tuple(
        limit.model_copy(
            update={"taken_from": find_origin(stored, metric=limit.metric, roles=limit.roles)}
        )
        for limit in given.window.limits
    )
    if limits == given.window.limits:
        return given
    window = given.window.model_copy(update={"limits": limits})
    return given.model_copy(update={"window": window})


def find_origin(
    limits: Iterable[Limit], *, metric: Metric, roles: tuple[ChannelRole, ...]
) -> TakenFrom | None:
    """Return where the limit of a metric that holds for all these channels came from, or None."""
    return next(
        (
            limit.taken_from
            for limit in limits
            if limit.metric is metric and set(roles) <= set(limit.roles)
        ),
        None,
    )
