"""The demonstration farm: one invented farm, two seasons, about a hundred and sixty flats, always the same.

Everything here is invented: people, cultivars, lots, takes. Only the calendar moves: the season lies around
``today``, so that there is something to do on the first screen, and the season before it a year earlier.
Whatever can befall a flat befalls one of them, which says so in its note (``stories.py``). All is built with
the actions that the screens call, on their clock, so it cannot show what the program could not record.
"""

from nursery.actions.demo.farm import load_demo

__all__ = ["load_demo"]
