"""Screens of materials."""

from fastapi import APIRouter

router = APIRouter()
