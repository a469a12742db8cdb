"""Screens of jobs."""

from fastapi import APIRouter

router = APIRouter()
