"""The JSON routes of jobs and runs."""

from fastapi import APIRouter

from app.jobs.routes import jobs, responses, runs, standing, steps

router = APIRouter(tags=["jobs"])
router.include_router(jobs.router)
router.include_router(steps.router)
router.include_router(runs.router)
router.include_router(responses.router)
router.include_router(standing.router)
