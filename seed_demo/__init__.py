"""The demo: an invented plant, its boards and half a year of its rework."""
