"""Screens of boards."""

from fastapi import APIRouter

router = APIRouter()
