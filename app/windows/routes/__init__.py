"""The JSON routes of windows."""

from fastapi import APIRouter

from app.windows.routes import built_in, own, versions

router = APIRouter(tags=["windows"])
router.include_router(own.router)
router.include_router(versions.router)
router.include_router(built_in.router)
