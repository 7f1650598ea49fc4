"""The one place that states the version; the build reads it from here."""

__version__ = "0.1.0"
