"""The screens of the bench: what is in work, the work card, runs and their charts."""

from fastapi import APIRouter

from app.jobs.pages import bench, card, charts, compare, lines, opening, reading, runs

router = APIRouter()
for part in (bench, opening, card, lines, reading, compare, charts, runs):
    router.include_router(part.router)
