"""JSON routes of plant."""

from fastapi import APIRouter

router = APIRouter()
