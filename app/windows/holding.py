"""A window as what a trace is held against: complete temperatures, and who stands behind it."""

from dataclasses import dataclass
from typing import Final

from app.recipes.body.alloys import ALLOYS, Alloy
from app.recipes.body.window import Limit, Window
from app.windows.body import WindowText

# A window that names no alloy is measured at the first one of the table.
USUAL_ALLOY: Final = ALLOYS[0]
USUAL_SOAK_C: Final = (150.0, 200.0)


@dataclass(frozen=True)
class HeldWindow:
    """A window to hold a run against, and why it holds.

    `window` goes to the verdict as it is; its temperatures are the targets that the metrics are
    measured at. `cautions` belong beside every verdict that is given by it. `digest` is that of
    the whole text.
    """

    key: str
    version: int
    name: str
    digest: str
    is_built_in: bool
    why: str
    text: WindowText
    window: Window

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to tell whoever uses it."""
        return self.text.cautions


def make_window(text: WindowText, *, usual: Alloy = USUAL_ALLOY) -> Window:
    """Return the text as a window that a trace can be held against.

    Temperatures that no row needs and the text does not give are those of the usual alloy, and
    150 to 200 °C for the soak: they complete the window and decide nothing.
    """
    liquidus_c = usual.liquidus_c if text.liquidus_c is None else text.liquidus_c
    solidus_c = min(usual.solidus_c, liquidus_c) if text.solidus_c is None else text.solidus_c
    low, high = text.soak_min_c, text.soak_max_c
    return Window(
        alloy=text.alloy or usual.name,
        solidus_c=solidus_c,
        liquidus_c=liquidus_c,
        ramp_window_s=text.ramp_window_s,
        soak_min_c=USUAL_SOAK_C[0] if low is None else low,
        soak_max_c=USUAL_SOAK_C[1] if high is None else high,
        classification_c=text.classification_c,
        limits=tuple(
            Limit(metric=row.metric, roles=row.roles, lower=row.lower, upper=row.upper)
            for row in text.rows
        ),
    )
