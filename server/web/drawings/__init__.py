"""Geometry of the drawings on the pages: plain functions from measures to coordinates."""
