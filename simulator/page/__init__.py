"""The planning page: a local web application that edits the scenario files which the command line runs."""
