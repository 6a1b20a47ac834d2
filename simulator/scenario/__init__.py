"""Scenario: schema, units, loading, overrides and catalogue; the only room that reads a file."""
