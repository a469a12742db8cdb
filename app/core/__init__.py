"""The ground floor: what every feature stands on, and nothing about rework."""
