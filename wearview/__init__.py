"""Heat evidence from photos of clutch plates, steels, reaction plates and bands."""

__version__ = "0.1.0"
