"""JSON routes of accounts."""

from fastapi import APIRouter

router = APIRouter()
