"""Screens of recipes."""

from fastapi import APIRouter

router = APIRouter()
