"""Questions asked of many runs."""
