"""Replications: random streams, executors, sequential precision and estimates."""
