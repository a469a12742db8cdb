"""Screens of history."""

from fastapi import APIRouter

router = APIRouter()
