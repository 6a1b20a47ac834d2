"""The SimPy model of one work day: one file a process."""
