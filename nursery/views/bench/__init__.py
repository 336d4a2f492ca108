"""The bench: sessions, flats put on, hand-overs, finishing."""
