"""The screens of windows: the list, one window, its versions, the built-in ones, and their use."""

from fastapi import APIRouter

from app.windows.pages import (
    built_in,
    compare,
    edit,
    listing,
    moves,
    new,
    put,
    standing,
    version,
    window,
)

router = APIRouter()
# Addresses with a word of their own come before those that take any number.
for part in (new, standing, built_in, put, listing, version, moves, edit, compare, window):
    router.include_router(part.router)
