"""Questions asked of many simulated days."""
