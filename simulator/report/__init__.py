"""Figures, tables and pages made from result tables, never from a live simulation."""
