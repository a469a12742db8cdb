"""The screens of the bench: what is in work, the work card, runs and their charts."""

from fastapi import APIRouter

from app.jobs.pages import (
    bench,
    card,
    charts,
    compare,
    lines,
    opening,
    reading,
    runs,
    setting_aside,
    step_page,
)

router = APIRouter()
for part in (bench, opening, card, lines, reading, setting_aside, compare, charts, step_page, runs):
    router.include_router(part.router)
