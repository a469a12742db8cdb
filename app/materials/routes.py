"""JSON routes of materials."""

from fastapi import APIRouter

router = APIRouter()
