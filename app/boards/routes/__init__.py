"""The JSON routes of assemblies, layouts and boards."""

from fastapi import APIRouter

from app.boards.routes import assemblies, boards, layouts

router = APIRouter(tags=["boards"])
router.include_router(assemblies.router)
router.include_router(layouts.router)
router.include_router(boards.router)
