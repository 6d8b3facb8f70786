"""Bow monitoring for basement walls: visit readings in, an honest inward rate per wall, flags and reports out."""

__version__ = "0.1.0"
