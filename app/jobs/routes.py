"""JSON routes of jobs."""

from fastapi import APIRouter

router = APIRouter()
