"""JSON routes of recipes."""

from fastapi import APIRouter

router = APIRouter()
