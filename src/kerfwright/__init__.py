"""Kerfwright: from measured boards and a measured laser to real joinery, and the files to burn it."""

__version__ = "0.1.0"
