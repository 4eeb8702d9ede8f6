"""An offline, hands-free voice companion for retrofitting powered accessories into ducts."""

__version__ = "0.5.0"
