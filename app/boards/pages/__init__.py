"""The screens of assemblies, layouts and boards."""

from fastapi import APIRouter

from app.boards.pages import assemblies, boards, layouts, start

router = APIRouter()
router.include_router(start.router)
router.include_router(assemblies.router)
router.include_router(layouts.router)
router.include_router(boards.router)
