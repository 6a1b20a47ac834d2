"""The commands, one a file: each parses its options, calls the package, and prints."""
