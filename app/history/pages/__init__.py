"""The screens of history: boards, the audit trail, its verification, and the search."""

from fastapi import APIRouter

from app.history.pages import audit, board, find, verification
from app.history.watch import keep_verified

router = APIRouter(lifespan=keep_verified)
for screens in (board, find, verification, audit):
    router.include_router(screens.router)
