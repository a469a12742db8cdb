"""How much script a page loads besides plotly's."""

from app.measure.figure import Bound, Figure
from app.web.templates import APP_FOLDER

TARGET_KB = 30.0
STATIC = APP_FOLDER / "web" / "static"


def measure_scripts() -> list[Figure]:
    """Measure every script of the house together: no page can load more of its own."""
    scripts = sorted(STATIC.rglob("*.js"))
    size_kb = sum(script.stat().st_size for script in scripts) / 1024
    what = f"all {len(scripts)} scripts of the house together"
    return [Figure("scripts", what, size_kb, "KB", Bound.AT_MOST, TARGET_KB)]
