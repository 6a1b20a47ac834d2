"""Replications: executors, sequential precision and estimates."""
